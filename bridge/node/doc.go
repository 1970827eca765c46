// Package node says a run to each kind of node, and reads what nodes say back.
//
// It decides whether a node's topics and templates can express a bounded run at all (Compile), how a command
// reads on the wire, and what a node's message means as an event of package machine. It never decides whether a
// run may start, keeps no account of runs, and knows no connection: it turns values into bytes and bytes into
// values.
//
// The one thing that it remembers is which payloads it rendered last (see memory), so that an echo of our own
// command can be told from somebody else's on relays whose commands carry no number. That memory depends on the
// calls alone, so the package stays deterministic. A Codec belongs to one goroutine.
package node
