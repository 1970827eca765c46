package estimate

import (
	"time"

	"aliquot/planner/units"
)

// Input is one thing that a Filter was told: exactly one of a test, what a run brought, a water change or a note.
type Input struct {
	At       time.Time
	Test     *Test
	Rises    []Rise
	Fraction float64 // of the water that was changed; Mix is the new water
	Mix      []Level
	Note     string // kind of a noted event
}

// Smoothed is what is believed of one quantity at a past time, with everything that came before and after it.
type Smoothed struct {
	At                         time.Time
	Known                      bool    // a test had been accepted by then; else all that follows is zero
	Level, LevelSD             float64 // at that hour
	Consumption, ConsumptionSD float64 // per day
}

// Smooth gives what is believed of a quantity at past times by a Filter that knows what f does and is then told inputs;
// f stays as it is. Inputs and times are in order, neither before f's last event; an input at one of the times is part of
// what was known then. After the last accepted test it is what At gives.
//
// It is the smoother of Rauch, Tung and Striebel on the Gaussian that has the mixture's mean and covariance. Tests that
// were set aside in the end are left out from the start; held ones that were confirmed are in from their own time on.
func (f *Filter) Smooth(q units.Quantity, inputs []Input, times []time.Time) []Smoothed {
	found := f.find(q)
	out := make([]Smoothed, len(times))
	for i, t := range times {
		out[i].At = t
	}
	if found == nil {
		return out
	}
	fates, from := decide(found.clone(), inputs)
	s := smoother{main: from, last: -1}
	next := 0
	for i := range inputs {
		for ; next < len(times) && times[next].Before(inputs[i].At); next++ {
			s.look(times[next], next)
		}
		s.take(&inputs[i], fates[i])
	}
	for ; next < len(times); next++ {
		s.look(times[next], next)
	}
	s.back()
	for _, n := range s.nodes {
		if n.query >= 0 {
			out[n.query] = n.answer(found, times[n.query])
		}
	}
	return out
}

// fate is what became of a test in the end.
type fate struct {
	taken bool
	jumps bool    // room was made for a change that nobody saw coming
	gross float64 // share of gross tests that it was taken with
	res   Result
}

// decide finds out what becomes of each test, and with what to begin: with the belief in a test that was held before
// the first input, if that is confirmed.
func decide(k track, inputs []Input) ([]fate, track) {
	fates := make([]fate, len(inputs))
	begin, held := k, -1
	begin.doubt = nil
	var believed *track // what began with a belief in a held test
	if k.doubt != nil {
		b := k.doubt.believer
		believed = &b
	}
	for i := range inputs {
		in := &inputs[i]
		if in.Test == nil {
			k.tell(in)
			continue
		}
		t := *in.Test
		if t.Quantity != k.spec.Quantity || !finite(t.Value) {
			continue
		}
		k.advance(t.At)
		gross := k.slipShare()
		res := k.judge(t)
		fits := !t.Doubtful && res.Distance <= res.Limit
		switch {
		case res.Verdict == Held:
			held = i
			fates[i] = fate{jumps: res.Known, res: res}
			continue
		case res.Resolved == Confirmed:
			if held >= 0 {
				fates[held].taken = true
			} else if believed != nil {
				begin = *believed
			}
			fates[i] = fate{taken: true, res: res}
		default:
			fates[i] = fate{taken: true, jumps: !fits && res.Known, gross: gross, res: res}
			if t.Confirmed {
				fates[i].gross = 0
			}
		}
		held = -1
	}
	return fates, begin
}

// tell takes in what is no test.
func (k *track) tell(in *Input) {
	switch {
	case in.Fraction > 0:
		k.change(in)
	case in.Note != "":
		k.advance(in.At)
		k.shake(shakeOf(in.Note))
	}
	for _, r := range in.Rises {
		if r.Quantity != k.spec.Quantity {
			continue
		}
		if r.Over > 0 {
			k.advance(in.At)
		} else {
			k.reach(in.At)
		}
		k.dose(r)
	}
}

func (k *track) change(in *Input) {
	if !(in.Fraction <= 1) {
		return
	}
	k.advance(in.At)
	value, known := 0.0, false
	for _, m := range in.Mix {
		if m.Quantity == k.spec.Quantity && finite(m.Value) {
			value, known = m.Value, true
		}
	}
	k.dilute(in.Fraction, value, known)
}

// moments are the mean and the covariance of a mixture.
type moments struct {
	mean [dims]float64
	cov  [dims][dims]float64
}

func (m *mixture) moments() moments {
	all := cell{}
	for i := range m.cells {
		all = merge(all, m.cells[i])
	}
	return moments{all.mean, all.cov}
}

// node is a time in the past: what was believed then, what that let expect of the next node, and how.
type node struct {
	query    int // index of the time asked for, -1: a test
	filtered moments
	ahead    moments             // expected of the next node
	flow     [dims][dims]float64 // and how what is expected follows what was believed
	smoothed moments
	own      belief // the filter's own figures
	learnt   bool   // a test came after it
}
