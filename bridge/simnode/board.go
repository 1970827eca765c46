package simnode

import (
	"fmt"
	"math"
	"time"
)

// idsKept is how many ids a board remembers.
const idsKept = 16

// BoardOptions describes a pump board.
type BoardOptions struct {
	// RatesMLPerMin are the true rates of the outputs 1, 2, … in mL/min, above 0.
	RatesMLPerMin []float64
	// MaxRun is the longest run that the board takes, and its own limit to every run; above 0, at most 24 h.
	MaxRun time.Duration
	// Boot is the number of the present boot; each restart adds 1.
	Boot int64
	// BootTime is how long a restart takes. The board gets no command meanwhile.
	BootTime time.Duration
	// IDAware boards refuse an id that they remember; KeepsIDs says that a restart does not lose them.
	IDAware, KeepsIDs bool
	// HasClock boards refuse what has expired.
	HasClock bool
	// Up and Down are the online payloads; nil stands for "1" and "0".
	Up, Down []byte
}

// Board is a node of the bounded-run kind.
type Board struct {
	core
	o    BoardOptions
	boot int64
	seq  int64
	ids  [idsKept]string
	next int // where the next id goes
}

// NewBoard makes a board that is up, with every output off. It says nothing until asked: see Connect.
func NewBoard(o BoardOptions) (*Board, error) {
	b := &Board{o: o, boot: o.Boot}
	if err := b.core.setUp(b, o.RatesMLPerMin, o.BootTime, o.Up, o.Down); err != nil {
		return nil, err
	}
	if !(o.MaxRun > 0 && o.MaxRun <= 24*time.Hour) {
		return nil, fmt.Errorf("simnode: a board's longest run is %v, allowed is above 0 up to 24 h", o.MaxRun)
	}
	b.hardLimit, b.armed = int64(o.MaxRun), int64(o.MaxRun)
	return b, nil
}

// Receive hands a command to the board. Payloads that do not keep the contract are ignored and counted.
func (b *Board) Receive(now time.Time, c Command) []Out {
	b.advance(now)
	if b.hears(c) && !b.obey(c) {
		b.counts.Malformed++
	}
	return b.take()
}

// obey does what the command asks, false if it cannot be understood.
func (b *Board) obey(c Command) bool {
	switch c.Kind {
	case Run:
		run, ok := parseRun(c.Payload)
		if !ok || !b.has(c.Output) || b.o.HasClock && run.expires.IsZero() {
			return false
		}
		b.run(c.Output-1, run)
		return true
	case Stop:
		id, ok := parseStop(c.Payload)
		if !ok || c.Output != 0 && !b.has(c.Output) {
			return false
		}
		b.stop(id)
		return true
	}
	return false
}

func (b *Board) run(i int, run runCommand) {
	reason := b.refusal(i, run)
	b.remember(run.id)
	if reason != "" {
		b.counts.Refused++
		b.report(i, report{id: run.id, state: "refused", reason: reason})
		return
	}
	b.accept(i, run.id, int64(math.Round(run.seconds*float64(time.Second))))
}

// refusal gives why the board does not take the run, "" if it does.
func (b *Board) refusal(i int, run runCommand) string {
	clock := instant(b.at).Add(b.faults.ClockOffset)
	switch {
	case b.o.IDAware && b.knows(run.id):
		return "repeated"
	case b.o.HasClock && clock.After(run.expires):
		return "expired"
	case b.outs[i].phase != idle:
		return "busy"
	case !(run.seconds <= b.o.MaxRun.Seconds()):
		return "too_long"
	}
	return ""
}

func (b *Board) stop(id string) {
	for i := range b.outs {
		if o := &b.outs[i]; o.phase != idle && (id == "*" || id == o.id) {
			b.end(i, false)
		}
	}
}

func (b *Board) knows(id string) bool {
	for _, known := range b.ids {
		if known == id {
			return true
		}
	}
	return false
}

// remember keeps an id and forgets the oldest. A repeat of a known id displaces nothing.
func (b *Board) remember(id string) {
	if !b.knows(id) {
		b.ids[b.next] = id
		b.next = (b.next + 1) % idsKept
	}
}

func (b *Board) began(i int) { b.report(i, report{id: b.outs[i].id, state: "started"}) }

func (b *Board) ended(i int, finished bool) {
	r := report{id: b.outs[i].id, state: "stopped", timed: true, onFor: time.Duration(b.at - b.outs[i].beginAt)}
	if finished {
		r.state = "finished"
	}
	b.report(i, r)
}

// contact says nothing: a board does not sense its outputs.
func (b *Board) contact(int) {}

func (b *Board) connected() { b.said = append(b.said, b.online(b.up)) }

func (b *Board) forget() {
	b.boot, b.seq = b.boot+1, 0
	if !b.o.KeepsIDs {
		b.ids, b.next = [idsKept]string{}, 0
	}
}

func (b *Board) report(i int, r report) {
	b.seq++
	r.boot, r.seq = b.boot, b.seq
	b.say(Out{Role: Report, Output: i + 1, Payload: r.encode(), QoS: 1})
}
