package node

// remembered is how many run commands and how many stop commands of one output are kept.
const remembered = 32

// command is one payload that was rendered for a switch.
type command struct {
	payload string
	run     string
	serial  int64
	off     bool
}

// memory knows the last commands rendered for each output of a switch, runs and stops apart: stops are repeated
// every second while a relay does not go off, and must not push the runs out.
type memory map[memoryKey][]command

type memoryKey struct {
	output int
	off    bool
}

func (m memory) keep(output int, c command) {
	key := memoryKey{output, c.off}
	kept := m[key]
	if n := len(kept); n > 0 && kept[n-1] == c {
		return // a repeat needs no second place
	}
	if len(kept) == remembered {
		kept = kept[1:]
	}
	m[key] = append(kept, c)
}

// find gives the latest command of an output with this payload. Payloads without a number repeat, and the latest
// is the one whose echo comes.
func (m memory) find(output int, payload string) (command, bool) {
	for _, off := range []bool{false, true} {
		kept := m[memoryKey{output, off}]
		for i := len(kept) - 1; i >= 0; i-- {
			if kept[i].payload == payload {
				return kept[i], true
			}
		}
	}
	return command{}, false
}
