package trial_test

import (
	"encoding/gob"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"aliquot/planner/trial"
)

// The limits take most of the time and do not depend on the planner: their rows can be kept and put beside newer ones.
var (
	keepFlag = flag.String("keep", "", "file to keep the rows in")
	withFlag = flag.String("with", "", "files with kept rows, by a pattern: put beside the rows that are played; with -policies kept alone")
)

// kept is a file of rows. JSON would not do: coverage can be no number.
type kept struct{ Rows []trial.Row }

func keepRows(name string, rows []trial.Row) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	if err := gob.NewEncoder(f).Encode(kept{rows}); err != nil {
		return err
	}
	return f.Close()
}

func keptRows(pattern string) ([]trial.Row, error) {
	names, err := filepath.Glob(pattern)
	if err != nil {
		return nil, err
	}
	var out []trial.Row
	for _, name := range names {
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		var k kept
		err = gob.NewDecoder(f).Decode(&k)
		f.Close()
		if err != nil {
			return nil, err
		}
		out = append(out, k.Rows...)
	}
	return out, nil
}

func TestKeptRowsComeBack(t *testing.T) {
	rows, err := trial.Play(trial.Plan{Families: []trial.Family{trial.Steady}, Policies: []string{"hand3"}, Seeds: 2, From: 1})
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "rows")
	if err := keepRows(name, rows); err != nil {
		t.Fatal(err)
	}
	again, err := keptRows(name)
	if err != nil || len(again) != 1 || !reflect.DeepEqual(again[0].Scores[1].All, rows[0].Scores[1].All) {
		t.Errorf("kept %+v, read %+v (%v)", rows, again, err)
	}
}
