package machine_test

import (
	"flag"
	"fmt"
	"hash/fnv"
	"slices"
	"strings"
	"testing"

	"aliquot/bridge/machine"
)

// go test ./bridge/machine -run TestExplore -v -args -explore-states 200000 -explore-faults 2
var (
	exploreStates = flag.Int("explore-states", 2500, "how many states are looked at where there is no end of them")
	exploreFaults = flag.Int("explore-faults", 1, "how many faults may happen on a way that is followed to its end")
)

// move is one thing that can happen next.
type move struct {
	name string
	do   func(l *lane)
}

// moves lists what can happen: first what needs no fault.
func (l *lane) moves() []move {
	var out []move
	add := func(on bool, name string, do func(l *lane)) {
		if on {
			out = append(out, move{name, do})
		}
	}
	add(!l.fine && (len(l.toNode)+len(l.toMachine) > 0 || l.node.running()), "everything arrives", func(l *lane) { l.arrive() })
	add(l.fine && len(l.toNode) > 0, "the pump hears", func(l *lane) { m := l.toNode[0]; l.toNode = l.toNode[1:]; l.obey(m) })
	add(l.fine && len(l.toMachine) > 0, "the daemon hears", func(l *lane) { e := l.toMachine[0]; l.toMachine = l.toMachine[1:]; l.step(e) })
	for _, c := range l.w.site.Channels {
		add(l.asks > 0 && l.alive, "somebody asks for a run of "+c.ID, func(l *lane) {
			l.asks--
			volume := 2.
			l.step(machine.Asked{Request: machine.Request{Verb: machine.VerbRun, Ref: fmt.Sprintf("k%d", l.asks), Channel: c.ID, VolumeML: &volume}})
		})
	}
	add(l.fine, "time passes", func(l *lane) { l.tick() })
	add(l.waits > 0, "much time passes", func(l *lane) { l.waits--; l.wait() })
	add(!l.alive, "the daemon starts", func(l *lane) { l.start() })
	add(l.alive && !l.up, "the connection opens", func(l *lane) { l.connect() })
	add(l.wrong, "the clock is set right", func(l *lane) { l.wrong = false })
	if l.faults == 0 {
		return out
	}
	fault := func(on bool, name string, do func(l *lane)) {
		add(on, name, func(l *lane) { l.faults--; do(l) })
	}
	fault(len(l.toNode) > 0, "a command is lost", func(l *lane) { l.toNode = l.toNode[1:] })
	fault(len(l.toNode) > 0 && !l.w.relay, "a command comes twice", func(l *lane) { l.toNode = append(l.toNode[:1:1], l.toNode...) })
	fault(len(l.toNode) > 1, "a command comes late", func(l *lane) { l.toNode = append(slices.Clone(l.toNode[1:]), l.toNode[0]) })
	fault(len(l.toMachine) > 0, "a report is lost", func(l *lane) { l.toMachine = l.toMachine[1:] })
	fault(len(l.toMachine) > 0, "a report comes twice", func(l *lane) { l.toMachine = append(l.toMachine[:1:1], l.toMachine...) })
	fault(len(l.toMachine) > 1, "a report comes late", func(l *lane) { l.toMachine = append(slices.Clone(l.toMachine[1:]), l.toMachine[0]) })
	fault(l.alive, "the daemon dies", func(l *lane) { l.crash() })
	for _, where := range []string{"before the row", "behind the row", "behind the run"} {
		fault(l.alive && l.dies == "" && l.asks > 0, "the daemon will die "+where, func(l *lane) { l.dies = where })
	}
	fault(l.alive && !l.slow && l.asks > 0, "the disk will be slow", func(l *lane) { l.slow = true })
	fault(l.alive, "the daemon stops", func(l *lane) { l.step(machine.Stopping{Reason: "asked to"}); l.crash() })
	fault(l.up, "the connection breaks", func(l *lane) { l.up, l.toMachine = false, nil; l.step(machine.LinkChanged{}) })
	fault(true, "the pump restarts", func(l *lane) { l.reboot() })
	fault(!l.wrong, "the clock jumps by an hour", func(l *lane) { l.wrong = true })
	return out
}

// digest tells states apart: everything that can make a difference later.
func (l *lane) digest() uint64 {
	h := fnv.New64a()
	n := l.node
	fmt.Fprint(h, l.alive, l.up, l.now, l.born, l.births, l.wrong, len(l.rows), l.sent, l.asks, l.waits, l.faults, l.dies, l.slow, l.toNode, n)
	for _, e := range l.toMachine {
		if r, is := e.(machine.Reported); is {
			fmt.Fprint(h, r.Run, r.State, r.Boot, r.Seq, r.Seconds != nil && *r.Seconds > 0)
			continue
		}
		fmt.Fprintf(h, "%T%v", e, e)
	}
	if l.owner != nil {
		fmt.Fprint(h, *l.owner)
	}
	for _, r := range l.rows[len(l.w.rows):] {
		fmt.Fprint(h, r.Elapsed, r.Body.Kind(), r.ID)
	}
	if l.alive {
		fmt.Fprint(h, machine.Whole(&l.s))
	}
	return h.Sum64()
}

// explored is what an exploration found.
type explored struct {
	states, transitions, depth int
	sent                       int  // runs on the way that had most
	whole                      bool // nothing was left to look at
	broken                     string
	way                        []string
}

// explore goes every way from a lane, breadth first, until an invariant does not hold or so many states were seen.
func explore(first *lane, most int) (out explored) {
	type at struct {
		l     *lane
		depth int
		from  int
		name  string
	}
	list := []at{{l: first}}
	seen := map[uint64]bool{first.digest(): true}
	for i := 0; i < len(list); i++ {
		here := list[i].l
		list[i].l = nil
		out.depth = list[i].depth
		for _, m := range here.moves() {
			next := here.part()
			m.do(next)
			out.transitions, out.sent = out.transitions+1, max(out.sent, len(next.sent))
			if next.broken != "" {
				out.broken, out.way = next.broken, []string{m.name}
				for k := i; k > 0; k = list[k].from {
					out.way = append([]string{list[k].name}, out.way...)
				}
				out.states = len(seen)
				return out
			}
			if d := next.digest(); !seen[d] && len(seen) < most {
				seen[d] = true
				list = append(list, at{next, list[i].depth + 1, i, m.name})
			}
		}
	}
	out.states, out.whole = len(seen), len(seen) < most
	return out
}

// Every way that asked runs can go, three of one channel, two of channels that are kept apart, three behind a relay, with
// faults at any moment: no state breaks the run protocol. The invariants are held against what the pump truly gave and what
// went over the wire. Where everything that is on its way arrives together the ways have an end, and all are gone; message by
// message and tick by tick there is no end of them.
func TestExplore_INV1_INV3_INV4_INV5_INV7_H02_H03_H05_H06_H08_H11(t *testing.T) {
	for _, c := range []struct {
		name   string
		first  *lane
		most   int
		toEnds bool
	}{
		{"to the end", newLane(3, 2, *exploreFaults, ""), 5_000_000, true},
		{"two pumps to the end", twoPumps.lane(2, 2, *exploreFaults, ""), 5_000_000, true},
		{"a relay to the end", onRelay.lane(3, 2, *exploreFaults, ""), 5_000_000, true},
		{"message by message", newLane(2, 1, *exploreFaults+1, "").finely(), *exploreStates, false},
	} {
		t.Run(strings.ReplaceAll(c.name, " ", "_"), func(t *testing.T) {
			e := explore(c.first, c.most)
			fmt.Printf("explored %s: %d states, %d transitions, depth %d, %d runs sent at most\n", c.name, e.states, e.transitions, e.depth, e.sent)
			if e.broken != "" {
				t.Errorf("%s does not hold after: %s", e.broken, strings.Join(e.way, "; "))
			}
			if e.states < 20 || e.sent < 2 || e.whole != c.toEnds {
				t.Errorf("%d states, all of them: %v, %d runs: the explorer looks at too little", e.states, e.whole, e.sent)
			}
		})
	}
}

// worldOf is the world in which a mutation can be seen.
func worldOf(mutation string) *laneWorld {
	switch mutation {
	case "the channels are not kept apart":
		return twoPumps
	case "the relay has no timer":
		return onRelay
	}
	return onePump
}

// The explorer finds what is broken on purpose, by the invariant that it breaks.
func TestExploreBites(t *testing.T) {
	for _, c := range []struct {
		mutation, want string
		asks, faults   int
	}{
		{"no row before the run", "INV-4", 1, 0},
		{"a run without a report is sent again", "INV-3", 1, 0},
		{"a slow disk makes no run late", "INV-5", 1, 1},
		{"the channels are not kept apart", "INV-7", 2, 0},
		{"the relay has no timer", "INV-1", 1, 1},
		{"a run whose outcome is open is forgotten over a restart", "INV-1", 3, 1},
	} {
		t.Run(strings.ReplaceAll(c.mutation, " ", "_"), func(t *testing.T) {
			e := explore(worldOf(c.mutation).lane(c.asks, 2, c.faults, c.mutation), 40_000)
			t.Logf("%d states, %d transitions: %s after: %s", e.states, e.transitions, e.broken, strings.Join(e.way, "; "))
			if e.broken != c.want {
				t.Errorf("%q breaks %q; want %s", c.mutation, e.broken, c.want)
			}
		})
	}
}
