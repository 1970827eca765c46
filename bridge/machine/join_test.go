package machine_test

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
)

func TestJoin(t *testing.T) {
	row := func(n int64) machine.Append { return machine.Append{Rows: []machine.Row{{Seq: n}}} }
	log := func(text string) machine.Log { return machine.Log{Text: text} }
	stop := machine.StopRuns{Node: "board", Output: 1, Run: "*"}
	got := machine.Join([][]machine.Effect{
		{row(1), log("a"), machine.Happened{Kind: "x"}},
		{log("b")},
		{},
		{stop, machine.ClearRetained{Node: "board"}, row(2), log("c"), machine.SendRun{}, stop},
	})
	want := []machine.Effect{stop, machine.ClearRetained{Node: "board"}, machine.Append{Rows: []machine.Row{{Seq: 1}, {Seq: 2}}},
		log("a"), machine.Happened{Kind: "x"}, log("b"), log("c"), machine.SendRun{}, stop}
	if fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", want) {
		t.Errorf("joined\n%+v\nwant\n%+v", got, want)
	}
	if got := machine.Join([][]machine.Effect{{log("a")}}); len(got) != 1 {
		t.Errorf("without a row there is %+v", got)
	}
	for _, c := range []struct {
		e    machine.Effect
		want bool
	}{{stop, true}, {machine.SendRun{}, true}, {machine.ClearRetained{}, true}, {row(1), false}, {machine.Answer{}, false}} {
		if machine.Commands([]machine.Effect{log("a"), c.e}) != c.want {
			t.Errorf("Commands of %T must be %v", c.e, c.want)
		}
	}
}

// Joined, effects lose nothing, keep their order, and tell no node anything before the rows of all steps.
func TestINV4_JoinedEffectsKeepTheirOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var steps [][]machine.Effect
		var rows, said []string
		n := rapid.IntRange(1, 6).Draw(t, "steps")
		for i := range n {
			var effects []machine.Effect
			if rapid.Bool().Draw(t, "row") {
				effects = append(effects, machine.Append{Rows: []machine.Row{{Seq: int64(i)}}})
				rows = append(rows, fmt.Sprint(i))
			}
			for j := range rapid.IntRange(0, 3).Draw(t, "words") {
				effects = append(effects, machine.Log{Text: fmt.Sprint(i, j)})
				said = append(said, fmt.Sprint(i, j))
			}
			if i == n-1 {
				effects = append(effects, machine.SendRun{})
			}
			steps = append(steps, effects)
		}
		var gotRows, gotSaid []string
		for _, e := range machine.Join(steps) {
			switch e := e.(type) {
			case machine.Append:
				for _, r := range e.Rows {
					gotRows = append(gotRows, fmt.Sprint(r.Seq))
				}
			case machine.Log:
				gotSaid = append(gotSaid, e.Text)
			case machine.SendRun:
				if !slices.Equal(gotRows, rows) {
					t.Fatalf("a run is sent behind rows %v; want %v", gotRows, rows)
				}
			}
		}
		if !slices.Equal(gotRows, rows) || !slices.Equal(gotSaid, said) {
			t.Fatalf("joined %v and %v; want %v and %v", gotRows, gotSaid, rows, said)
		}
	})
}
