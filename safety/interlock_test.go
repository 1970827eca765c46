package safety

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func good(v float64) Reading { return Reading{Value: v, Good: true} }

var none = Reading{}

// step is a look at a reading and what must stand afterwards.
type step struct {
	at       Elapsed
	reading  Reading
	clear    bool // clear instead of look
	blocked  bool
	wantData bool
}

func runInterlock(t *testing.T, rule InterlockRule, steps []step) {
	t.Helper()
	var s Interlock
	for i, st := range steps {
		if st.clear {
			s = s.Clear(rule, st.reading)
		} else {
			s = s.Look(rule, st.at, st.reading)
		}
		if blocked, noData := s.Blocks(rule); blocked != st.blocked || noData != st.wantData {
			t.Fatalf("step %d at %d ms (%+v): blocked %v, for want of data %v; want %v, %v", i, st.at, st.reading, blocked, noData, st.blocked, st.wantData)
		}
	}
}

func TestBoundTable(t *testing.T) {
	tests := []struct {
		name                string
		b                   Bound
		below, equal, above bool
	}{
		{"above", Bound{Value: 8.5, Above: true}, false, false, true},
		{"below", Bound{Value: 8.5}, true, false, false},
		{"equal", Bound{Value: 8.5, Equal: true}, false, true, false},
		{"equal, above ignored", Bound{Value: 8.5, Equal: true, Above: true}, false, true, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			below, equal, above := tt.b.Met(math.Nextafter(8.5, 0)), tt.b.Met(8.5), tt.b.Met(math.Nextafter(8.5, 9))
			if below != tt.below || equal != tt.equal || above != tt.above {
				t.Errorf("met %v, %v, %v; want %v, %v, %v", below, equal, above, tt.below, tt.equal, tt.above)
			}
			if tt.b.Met(math.NaN()) {
				t.Error("NaN meets the bound")
			}
		})
	}
}

func TestH26InterlockTables(t *testing.T) {
	high := Bound{Value: 8.5, Above: true}
	calm := Bound{Value: 8.4}
	tests := []struct {
		name  string
		rule  InterlockRule
		steps []step
	}{
		{"at the limit nothing, above it at once", InterlockRule{When: high}, []step{
			{at: 0, reading: good(8.5)},
			{at: 1, reading: good(8.501), blocked: true},
			{at: 2, reading: good(8.5)},
		}},
		{"for: 1 ms short, then exactly", InterlockRule{When: high, WhenFor: time.Minute}, []step{
			{at: 0, reading: good(8.6)},
			{at: minute - 1, reading: good(8.6)},
			{at: minute, reading: good(8.6), blocked: true},
		}},
		{"for: one calm reading starts it anew", InterlockRule{When: high, WhenFor: time.Minute}, []step{
			{at: 0, reading: good(8.6)},
			{at: minute - 1, reading: good(8.5)},
			{at: minute, reading: good(8.6)},
			{at: 2*minute - 1, reading: good(8.6)},
			{at: 2 * minute, reading: good(8.6), blocked: true},
		}},
		{"until: between the bounds it stays", InterlockRule{When: high, Until: &calm}, []step{
			{at: 0, reading: good(8.6), blocked: true},
			{at: 1, reading: good(8.45), blocked: true},
			{at: 2, reading: good(8.4), blocked: true},
			{at: 3, reading: good(8.39)},
			{at: 4, reading: good(8.45)},
		}},
		{"until for: must hold without a break", InterlockRule{When: high, Until: &calm, UntilFor: time.Minute}, []step{
			{at: 0, reading: good(8.6), blocked: true},
			{at: 1 * minute, reading: good(8.3), blocked: true},
			{at: 2*minute - 1, reading: good(8.45), blocked: true},
			{at: 2 * minute, reading: good(8.3), blocked: true},
			{at: 3*minute - 1, reading: good(8.3), blocked: true},
			{at: 3 * minute, reading: good(8.3)},
		}},
		{"until for without a bound: the opposite must hold", InterlockRule{When: high, UntilFor: time.Minute}, []step{
			{at: 0, reading: good(8.6), blocked: true},
			{at: 1, reading: good(8.5), blocked: true},
			{at: minute, reading: good(8.5), blocked: true},
			{at: minute + 1, reading: good(8.5)},
		}},
		{"latch: stays until cleared, and not while the condition holds", InterlockRule{When: high, Latch: true}, []step{
			{at: 0, reading: good(8.6), blocked: true},
			{at: hour, reading: good(8.0), blocked: true},
			{reading: good(8.6), clear: true, blocked: true},
			{reading: none, clear: true, blocked: true},
			{reading: good(math.NaN()), clear: true, blocked: true},
			{reading: good(math.Inf(-1)), clear: true, blocked: true},
			{reading: good(8.5), clear: true},
			{at: hour + 1, reading: good(8.6), blocked: true},
		}},
		{"latch: until does not end it", InterlockRule{When: high, Until: &calm, Latch: true}, []step{
			{at: 0, reading: good(8.6), blocked: true},
			{at: hour, reading: good(8.0), blocked: true},
			{at: 2 * hour, reading: good(8.0), blocked: true},
		}},
		{"a switch input", InterlockRule{When: Bound{Value: 0, Equal: true}}, []step{
			{at: 0, reading: good(0), blocked: true},
			{at: 1, reading: good(1)},
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { runInterlock(t, tt.rule, tt.steps) })
	}
}

func TestH31NoReadingTables(t *testing.T) {
	high := Bound{Value: 8.5, Above: true}
	tests := []struct {
		name  string
		rule  InterlockRule
		steps []step
	}{
		{"the block ends with the next good reading", InterlockRule{When: high}, []step{
			{at: 0, reading: none, blocked: true, wantData: true},
			{at: 1, reading: good(8.0)},
			{at: 2, reading: none, blocked: true, wantData: true},
			{at: 3, reading: good(8.5)},
		}},
		{"it ends at once whatever until for says", InterlockRule{When: high, UntilFor: time.Hour}, []step{
			{at: 0, reading: none, blocked: true, wantData: true},
			{at: 1, reading: good(8.0)},
		}},
		{"it never latches", InterlockRule{When: high, Latch: true}, []step{
			{at: 0, reading: none, blocked: true, wantData: true},
			{at: day, reading: none, blocked: true, wantData: true},
			{at: day + 1, reading: good(8.0)},
		}},
		{"a bad value counts for nothing, whichever side it is on", InterlockRule{When: high, Latch: true}, []step{
			{at: 0, reading: Reading{Value: 9}, blocked: true, wantData: true},
			{at: 1, reading: good(8.0)},
		}},
		{"NaN and infinity are no reading, even if called good", InterlockRule{When: high}, []step{
			{at: 0, reading: good(math.NaN()), blocked: true, wantData: true},
			{at: 1, reading: good(math.Inf(-1)), blocked: true, wantData: true},
			{at: 2, reading: good(math.Inf(1)), blocked: true, wantData: true},
			{at: 3, reading: good(8.0)},
		}},
		{"NaN does not end a block", InterlockRule{When: high}, []step{
			{at: 0, reading: good(8.6), blocked: true},
			{at: 1, reading: good(math.NaN()), blocked: true},
			{at: 2, reading: none, blocked: true},
			{at: 3, reading: good(8.5)},
		}},
		{"no reading restarts the condition's time", InterlockRule{When: high, WhenFor: time.Minute}, []step{
			{at: 0, reading: good(8.6)},
			{at: 59 * second, reading: none, blocked: true, wantData: true},
			{at: 60 * second, reading: good(8.6)},
			{at: 120*second - 1, reading: good(8.6)},
			{at: 120 * second, reading: good(8.6), blocked: true},
		}},
		{"no reading restarts the end's time", InterlockRule{When: high, UntilFor: time.Minute}, []step{
			{at: 0, reading: good(8.6), blocked: true},
			{at: 1 * second, reading: good(8.0), blocked: true},
			{at: 30 * second, reading: none, blocked: true},
			{at: 61 * second, reading: good(8.0), blocked: true},
			{at: 121*second - 1, reading: good(8.0), blocked: true},
			{at: 121 * second, reading: good(8.0)},
		}},
		{"ignored where the keeper said so, but a standing block stays", InterlockRule{When: high, IgnoreStale: true}, []step{
			{at: 0, reading: none},
			{at: 1, reading: good(8.6), blocked: true},
			{at: 2, reading: none, blocked: true},
			{at: 3, reading: good(8.5)},
			{at: 4, reading: none},
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { runInterlock(t, tt.rule, tt.steps) })
	}
}

func TestH31UnseenInterlockBlocks(t *testing.T) {
	var s Interlock
	if blocked, noData := s.Blocks(InterlockRule{}); !blocked || !noData {
		t.Errorf("the zero value blocks %v, for want of data %v; want both", blocked, noData)
	}
	if blocked, _ := s.Blocks(InterlockRule{IgnoreStale: true}); blocked {
		t.Error("the zero value blocks though no reading is to be ignored")
	}
}

// A flapping probe neither reaches a condition that must last nor ends a block that must be calm for a while.
func TestH26FlappingChangesNothing(t *testing.T) {
	rule := InterlockRule{When: Bound{Value: 8.5, Above: true}, WhenFor: time.Minute, UntilFor: time.Minute}
	var free Interlock
	stuck := Interlock{}.Look(rule, 0, good(9)).Look(rule, minute, good(9))
	for i := range Elapsed(1000) {
		now := 2*minute + i*30*second
		free, stuck = free.Look(rule, now, good(8.4+0.2*float64(i%2))), stuck.Look(rule, now, good(8.4+0.2*float64(i%2)))
		if blocked, _ := free.Blocks(rule); blocked {
			t.Fatalf("flap %d: blocked by a condition that never lasted a minute", i)
		}
		if blocked, _ := stuck.Blocks(rule); !blocked {
			t.Fatalf("flap %d: free though it was never calm for a minute", i)
		}
	}
}

// The interlock agrees with the rule read off the whole history of readings: blocked by the condition exactly if
// it held for WhenFor since the last good break, and has not been calm for UntilFor since.
func TestH31InterlockAgreesWithHistory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rule := InterlockRule{
			When:        Bound{Value: 5, Above: true},
			WhenFor:     time.Duration(rapid.IntRange(0, 3).Draw(t, "for")) * time.Second,
			UntilFor:    time.Duration(rapid.IntRange(0, 3).Draw(t, "until for")) * time.Second,
			Latch:       rapid.Bool().Draw(t, "latch"),
			IgnoreStale: rapid.Bool().Draw(t, "ignore"),
		}
		var s Interlock
		var now, run Elapsed // run: since when the present side holds without a break
		active, side, last := false, -1, none
		for range rapid.IntRange(1, 40).Draw(t, "looks") {
			now += Elapsed(rapid.IntRange(0, 2000).Draw(t, "step"))
			last = rapid.SampledFrom([]Reading{none, good(4), good(5), good(6), good(math.NaN())}).Draw(t, "reading")
			s = s.Look(rule, now, last)
			real, met := last.Good && last.Value == last.Value, 0
			if last.Value > 5 {
				met = 1
			}
			if !real {
				side = -1
			} else {
				if met != side {
					side, run = met, now
				}
				switch held := now - run; {
				case !active && met == 1 && held >= Elapsed(rule.WhenFor/time.Millisecond):
					active, side = true, -1
				case active && !rule.Latch && met == 0 && held >= Elapsed(rule.UntilFor/time.Millisecond):
					active, side = false, -1
				}
			}
			blocked, noData := s.Blocks(rule)
			if want := active || !real && !rule.IgnoreStale; blocked != want || noData != (want && !active) {
				t.Fatalf("at %d: blocked %v (no data %v), want %v; active %v, rule %+v", now, blocked, noData, want, active, rule)
			}
		}
	})
}

// Time that nobody watched counts for neither side of an interlock.
func TestH26RestartLetsBothSidesCountAnew(t *testing.T) {
	rule := InterlockRule{When: Bound{Value: 8.5, Above: true}, WhenFor: 2 * time.Minute, Until: &Bound{Value: 8.4}, UntilFor: 10 * time.Minute}
	high, low := Reading{Value: 8.6, Good: true}, Reading{Value: 8.2, Good: true}
	s := Interlock{}.Look(rule, 0, high).Restart().Look(rule, 3*minute, high)
	if s.Active {
		t.Fatal("it blocks after three minutes of which nobody watched any")
	}
	if s = s.Look(rule, 5*minute, high); !s.Active {
		t.Fatal("it does not block after two watched minutes")
	}
	s = s.Look(rule, 6*minute, low).Restart().Look(rule, 20*minute, low)
	if !s.Active {
		t.Error("it lets go after fourteen minutes of which nobody watched any")
	}
	if s = s.Look(rule, 30*minute, low); s.Active {
		t.Error("it still blocks after ten watched minutes")
	}
}
