package machine_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
)

// A clone is the same as what it was made of, shares nothing with it that is ever written to, and goes its own way.
func TestClone(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := newWorld(rt, false)
		for range rapid.IntRange(1, 12).Draw(rt, "events") {
			w.happen()
		}
		s := &w.r.state
		clone := s.Clone()
		if shared := machine.Shared(s, &clone); len(shared) > 0 {
			rt.Fatalf("a clone shares memory: %v", shared)
		}
		before := machine.Whole(s)
		if machine.Whole(&clone) != before {
			rt.Fatal("a clone is not what it was made of")
		}
		at := w.r.instant()
		for _, e := range []machine.Event{machine.LinkChanged{}, machine.Stopping{Reason: "test"}, machine.Woke{}} {
			at.Wall, at.Mono = at.Wall.Add(2*time.Hour), at.Mono+2*time.Hour
			clone, _ = machine.Step(clone, at, e)
		}
		if machine.Whole(s) != before {
			rt.Fatal("stepping a clone changed what it was made of")
		}
		if machine.Whole(&clone) == before {
			rt.Fatal("stepping a clone changed nothing of it: the test compares nothing")
		}
	})
}

// A fold that is cloned on the way ends as one that is not.
func TestFoldClone(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := newWorld(rt, false)
		for range rapid.IntRange(1, 12).Draw(rt, "events") {
			w.happen()
		}
		rows := w.r.rows
		half := w.r.blank.Fold()
		for _, r := range rows[:len(rows)/2] {
			half.Add(r)
		}
		clone := half.Clone()
		for _, f := range []*machine.Fold{half, clone} {
			for _, r := range rows[len(rows)/2:] {
				f.Add(r)
			}
		}
		want := w.r.foldOf(rows)
		for _, f := range []*machine.Fold{half, clone} {
			if got := f.State(); machine.Whole(&got) != machine.Whole(&want) {
				rt.Fatal("a fold that was cloned on the way is another")
			}
		}
	})
}

// Thousands of doses are kept for each system, in case a test is entered late: a farm feels each byte.
func TestAToldDoseIsSmall(t *testing.T) {
	const most = 64
	if machine.InputSize > most {
		t.Errorf("a told dose takes %d bytes; want at most %d", machine.InputSize, most)
	}
}
