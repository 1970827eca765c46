package machine

import (
	"fmt"
	"math"
	"strings"

	"aliquot/planner/assay"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// lot names a lot of a kit for one quantity. Without a name of the lot there is none.
type lot struct {
	quantity     units.Quantity
	method, name string
}

func lotOf(b Test) lot {
	plain := func(s string) string { return strings.ToLower(strings.TrimSpace(s)) }
	return lot{b.Quantity, plain(b.Method), plain(b.Lot)}
}

// lotState is what reference solutions said of a lot, and how well its readings repeat.
type lotState struct {
	lot
	estimate.References
	spec estimate.Spec // of the system under which the last was entered
}

// biasOf is by how much a lot is believed to read too high.
func (s *State) biasOf(of lot) (bias, sd float64, ok bool) {
	if of.name == "" {
		return 0, 0, false
	}
	for i := range s.lots {
		if k := &s.lots[i]; k.lot == of {
			return k.Bias(of.quantity, k.spec)
		}
	}
	return 0, 0, false
}

// applyReference learns the bias of a lot from a reference solution, and puts right what was read with it in every system:
// it read so before it was known. What cannot be a bias says nothing.
func (s *State) applyReference(r Row, b Test) {
	of, miss := lotOf(b), b.Level-b.StatedLevel
	if of.name == "" || !(b.StatedLevel > 0) || !estimate.Credible(b.Quantity, miss) {
		return
	}
	k := s.lotState(of)
	k.Count++
	k.Sum += miss
	k.Stated = b.StatedLevel
	if y := s.system(b.System); y != nil {
		k.spec = estimate.Spec{TestSD: y.testSD(b.Quantity)}
	}
	bias, sd, ok := s.biasOf(of)
	if !ok {
		return
	}
	for i := range s.systems {
		y := &s.systems[i]
		if y.rightLot(of, bias, sd) {
			s.holdVolumes(y, r, b.Quantity)
		}
	}
}

func (s *State) lotState(of lot) *lotState {
	for i := range s.lots {
		if s.lots[i].lot == of {
			return &s.lots[i]
		}
	}
	s.lots = append(s.lots, lotState{lot: of})
	return &s.lots[len(s.lots)-1]
}

// rightLot takes a lot's bias off every test of it that the estimator can still be told anew.
func (y *systemState) rightLot(of lot, bias, sd float64) bool {
	first := -1
	for i := range y.inputs {
		in := &y.inputs[i]
		if in.kind != inputTest || in.lot != of {
			continue
		}
		right := *in.said
		right.test.Value, right.test.BiasSD = max(0, in.level-bias), sd
		in.said = &right
		if first < 0 {
			first = i
		}
	}
	if first < 0 {
		return false
	}
	y.feedFrom(first)
	return true
}

// holdVolumes remembers the volumes in force where a test is held now.
func (s *State) holdVolumes(y *systemState, r Row, q units.Quantity) {
	held := y.filter.At(r.At, q).Held != nil
	for i := range s.channels {
		if c := &s.channels[i]; c.cfg.System == y.cfg.ID && c.follows() && c.cfg.Quantity == q {
			c.holdVolume(held)
		}
	}
}

// statedOf reads what a reference solution is stated to have; 0 where the request does not say.
func statedOf(q Request, quantity units.Quantity, level float64, water assay.Water) (float64, *reply) {
	if q.Stated == nil {
		return 0, nil
	}
	if q.Of != "reference" {
		return 0, no(safety.BadPayload, "stated goes with a test of a reference solution: send it with \"of\": \"reference\"")
	}
	stated, verdict, hint := assay.CheckEntry(quantity, *q.Stated, q.Unit, water)
	if verdict == units.Refused || verdict == units.NeedsConfirm && !q.Confirm {
		return 0, refused(hint, "stated")
	}
	if !(stated > 0) {
		return 0, no(safety.OutOfRange, "stated is %g %s; a reference solution has more than 0", *q.Stated, q.Unit)
	}
	if miss := level - stated; !estimate.Credible(quantity, miss) {
		return 0, no(safety.OutOfRange, "the reading is %.3g %s from the %.4g that the solution is stated to have, more than any lot is wrong by, or no bias is kept for %s: look at units, solution and kit",
			math.Abs(miss), quantity.Unit(), stated, quantity)
	}
	return stated, nil
}

// lotWords says what a reference solution showed of a lot.
func (t *turn) lotWords(b Test) string {
	u := b.Quantity.Unit()
	switch {
	case !estimate.Credible(b.Quantity, 0):
		return "; it is kept, and says nothing about the tank"
	case !(b.StatedLevel > 0):
		return "; it is kept, and says nothing about the tank. With what the solution is stated to have (stated) it shows the bias of the lot"
	case strings.TrimSpace(b.Lot) == "":
		return fmt.Sprintf(", where %.4g %s is stated; with the name of the lot it would put its tests right", b.StatedLevel, u)
	}
	bias, sd, ok := t.biasOf(lotOf(b))
	if !ok {
		return ""
	}
	return fmt.Sprintf(", where %.4g %s is stated: lot %s reads about %.2g ± %.2g %s too %s, which is taken off its tests", b.StatedLevel, u, b.Lot, math.Abs(bias), sd, u, side(bias))
}

func side(bias float64) string {
	if bias < 0 {
		return "low"
	}
	return "high"
}

// countsAs is what a test of the tank counts as, and words for it where that is not what was read.
func (t *turn) countsAs(b Test) (float64, string) {
	bias, _, ok := t.biasOf(lotOf(b))
	if !ok {
		return b.Level, ""
	}
	level := max(0, b.Level-bias)
	return level, fmt.Sprintf("; lot %s reads about %.2g %s too %s, so that it counts as %.4g", b.Lot, math.Abs(bias), b.Quantity.Unit(), side(bias), level)
}
