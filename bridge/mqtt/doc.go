// Package mqtt keeps one connection to one broker and is the only importer of the paho client.
//
// It decides nothing about doses. It guarantees what the rest relies on (H-03, H-04, H-09, H-16, H-38):
//
//   - Nothing is kept for later. Each connection is a new paho client with a clean session and a store that
//     forgets; a forced end resets the socket, so that bytes still in its buffer die with it.
//   - Publish says honestly what became of a message: Done, NotHanded (certainly never given to the client)
//     or Unknown. Silence is Unknown, never NotHanded.
//   - A connection counts as up only after every subscription is granted and, with a PingTopic, after an own
//     message has come back. OnUp and OnDown alternate, and messages arrive only between them.
//   - A packet that declares more than MaxPacket, or that MQTT 3.1.1 does not allow from a broker, ends the
//     connection before anything is allocated for it.
//   - A link that swallows traffic is noticed by the own messages that do not return, and rebuilt.
//
// # Order of messages
//
// paho can call handlers one after the other (OrderMatters) or each in its own goroutine. The second loses the
// order of messages on one topic, so the first is used. Its known danger, a deadlock of the whole client,
// threatens only handlers that block or wait for a token. Ours never waits: until the connection is up it
// appends to a bounded list, afterwards it calls OnMessage, which by contract only enqueues. Acknowledgements,
// which paho writes between two handlers, are bounded by a deadline on every write. If OnMessage blocks all
// the same, own messages stop coming back and a new client is built without waiting for the stuck one.
package mqtt
