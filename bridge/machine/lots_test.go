package machine_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// ofLot enters a test of alkalinity with a lot of the kit.
func (r *rig) ofLot(value float64, lot string) machine.Answered {
	return r.ask(machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: &value, Unit: "dKH", Method: "titration", Lot: lot})
}

// reference enters a test of a reference solution.
func (r *rig) reference(value, stated float64, lot string) machine.Answered {
	return r.ask(machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: &value, Unit: "dKH", Method: "titration", Lot: lot, Of: "reference", Stated: &stated})
}

func (r *rig) believed() (level, sd float64) {
	for _, e := range machine.Estimates(&r.state, r.trueTime()) {
		if e.Quantity == "alkalinity" && e.Level != nil {
			return *e.Level, *e.LevelSD
		}
	}
	return math.NaN(), math.NaN()
}

// A lot that reads too high is put right: the tests to come, the tests that were, and the same after a restart.
func TestALotIsPutRightByAReferenceSolution(t *testing.T) {
	for _, c := range []struct {
		name string
		miss float64
		says string
	}{{"too high", 0.4, "too high"}, {"too low", -0.4, "too low"}} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			r.ofLot(8+c.miss, "A7")
			before, _ := r.believed()
			for range 8 {
				if a := r.reference(8.4+c.miss, 8.4, "a7 "); !a.OK || !strings.Contains(a.Text, c.says) || !strings.Contains(a.Text, "lot a7") {
					t.Fatalf("%+v; want it taken, with what it says of the lot", a)
				}
			}
			after, sd := r.believed()
			// The test of commissioning, which names no lot, said 8.1.
			if moved := (before - after) / c.miss; !(moved > 0.3 && moved < 1) || !(math.Abs(after-8) < 0.1) {
				t.Errorf("level %.3f before and %.3f after; want it nearer to 8", before, after)
			}
			if !(sd > 0.08) {
				t.Errorf("sd %.3f: what the lot may still be wrong by is lost", sd)
			}
			if a := r.ofLot(8+c.miss, "A7"); !a.OK || !strings.Contains(a.Text, "so that it counts as") {
				t.Errorf("%s; want it said what the test counts as", a.Text)
			}
			if level, _ := r.believed(); !(math.Abs(level-8) < 0.1) {
				t.Errorf("level %.3f after another test, want about 8", level)
			}
			other, _ := r.believed()
			r.crash()
			r.boot()
			if level, _ := r.believed(); math.Abs(level-other) > 1e-9 {
				t.Errorf("level %.6f after a restart, %.6f before", level, other)
			}
		})
	}
}

// One reading is drawn towards no bias at all: the kit scatters and the solution is not exact.
func TestOneReadingOfAReferenceIsNotBelievedInFull(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.ofLot(8.4, "A7")
	r.reference(8.8, 8.4, "A7")
	if level, _ := r.believed(); !(level > 8.05 && level < 8.25) {
		t.Errorf("level %.3f, want between the reading 8.4 and 8.0", level)
	}
}

// What is no bias of this lot moves nothing: another lot, another method, no name, no statement, a slip.
func TestReferencesThatSayNothingOfALot(t *testing.T) {
	stated := 8.4
	for _, c := range []struct {
		name  string
		value float64
		q     machine.Request
		code  safety.Code
		says  string
	}{
		{"another lot", 8.8, machine.Request{Method: "titration", Lot: "B1", Of: "reference", Stated: &stated}, safety.OK, "lot B1 reads"},
		{"another method", 8.8, machine.Request{Method: "photometer", Lot: "A7", Of: "reference", Stated: &stated}, safety.OK, "lot A7 reads"},
		{"no lot", 8.8, machine.Request{Method: "titration", Of: "reference", Stated: &stated}, safety.OK, "with the name of the lot"},
		{"nothing stated", 8.8, machine.Request{Method: "titration", Lot: "A7", Of: "reference"}, safety.OK, "stated to have"},
		{"a slip", 9.5, machine.Request{Method: "titration", Lot: "A7", Of: "reference", Stated: &stated}, safety.OutOfRange, "more than any lot is wrong by"},
		{"of the tank", 8.4, machine.Request{Method: "titration", Lot: "A7", Stated: &stated}, safety.BadPayload, "goes with a test of a reference solution"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			r.ofLot(8.4, "A7")
			before, _ := r.believed()
			c.q.Quantity, c.q.Value, c.q.Unit = "alkalinity", &c.value, "dKH"
			if a := r.ask(machine.VerbTest, c.q); a.Code != c.code || !strings.Contains(a.Text, c.says) {
				t.Errorf("%s %s; want %s and %q", a.Code, a.Text, c.code, c.says)
			}
			if after, _ := r.believed(); after != before {
				t.Errorf("level %.3f, was %.3f", after, before)
			}
		})
	}
}

// A bias that is learnt makes no dose jump: a correction stays within max_rise, as after any test.
func TestH29ALotPutRightRaisesNoMoreThanATestMay(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	for range 5 {
		r.ofLot(8.3, "A7")
		r.advance(24 * time.Hour)
	}
	before := r.channel("alk").PlannedMLPerDay
	for range 5 {
		r.reference(9.2, 8.4, "A7")
	}
	level, _ := r.believed()
	if !(level < 7.8) {
		t.Fatalf("level %.2f: nothing was put right, and this shows nothing", level)
	}
	if rise := r.channel("alk").PlannedMLPerDay - before; !(rise > 0 && rise <= 0.25*max(before, r.channel("alk").PerDayML)) {
		t.Errorf("the daily volume rises by %.1f mL at once from %.1f", rise, before)
	}
}

// What was read with a lot is put right in the fold that learns of it, and not in a copy of that fold.
func TestALotIsPutRightInOneCopyOnly(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.ofLot(8.4, "A7")
	told := len(r.rows)
	for range 8 {
		r.reference(8.8, 8.4, "A7")
	}
	f := r.blank.Fold()
	for _, row := range r.rows[:told] {
		f.Add(row)
	}
	copied := f.Clone()
	whole := func(f *machine.Fold) string { s := f.State(); return machine.Whole(&s) }
	before := whole(copied)
	if whole(f) != before {
		t.Fatal("a copy is not what it was made of")
	}
	for _, row := range r.rows[told:] {
		f.Add(row)
	}
	if whole(copied) != before {
		t.Error("a reference solution in one fold changed its copy")
	}
	if whole(f) == before {
		t.Error("it changed nothing: the test compares nothing")
	}
}
