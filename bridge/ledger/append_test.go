package ledger

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

func TestINV3OnlyRowsThatContinueAreStored(t *testing.T) {
	base := []machine.Row{noted(1), reserved(2, "run-a", "2027-03-01T09:00"), answered(3, "ask-1"),
		row(4, machine.SlotCarried{Channel: "alk", Slot: "2027-03-01T10:00"})}
	for _, c := range []struct {
		name string
		rows []machine.Row
		want error
	}{
		{"next", notes(5, 5), nil},
		{"next three", notes(5, 7), nil},
		{"none", nil, nil},
		{"already stored", notes(4, 4), ErrConflict},
		{"gap before", notes(6, 6), ErrConflict},
		{"gap inside", []machine.Row{noted(5), noted(7)}, ErrConflict},
		{"from one again", notes(1, 1), ErrConflict},
		{"no number", notes(0, 0), ErrConflict},
		{"same run", []machine.Row{reserved(5, "run-a", "")}, ErrDuplicateRun},
		{"same slot", []machine.Row{reserved(5, "run-b", "2027-03-01T09:00")}, ErrSlotServed},
		{"slot carried before", []machine.Row{reserved(5, "run-b", "2027-03-01T10:00")}, ErrSlotServed},
		{"other slot", []machine.Row{reserved(5, "run-b", "2027-03-01T11:00")}, nil},
		{"no slot, twice", []machine.Row{reserved(5, "run-b", ""), reserved(6, "run-c", "")}, nil},
		{"same reference", []machine.Row{answered(5, "ask-1")}, ErrAnswered},
		{"other reference", []machine.Row{answered(5, "ask-2")}, nil},
		{"twice in one batch", []machine.Row{reserved(5, "run-b", ""), reserved(6, "run-b", "")}, ErrDuplicateRun},
		{"good ones before a bad one", []machine.Row{noted(5), noted(6), answered(7, "ask-1")}, ErrAnswered},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := mustOpen(t, newPath(t))
			mustAppend(t, l, base...)
			err := l.Append(c.rows)
			if !errors.Is(err, c.want) || (err == nil) != (c.want == nil) {
				t.Fatalf("Append = %v; want %v", err, c.want)
			}
			if l.Failed() {
				t.Fatalf("the ledger failed with %v; want it in working order", l.Failure())
			}
			want := base
			if c.want == nil {
				want = append(want[:len(want):len(want)], c.rows...)
			}
			wantRows(t, l, want)
			mustAppend(t, l, noted(int64(len(want))+1))
		})
	}
}

func TestRowsThatCannotBeKeptFailTheLedger(t *testing.T) {
	outside := noted(2)
	outside.At = start.AddDate(9000, 0, 0)
	for name, r := range map[string]machine.Row{
		"no body":         {Seq: 2, At: start},
		"not a number":    row(2, machine.Test{System: "nursery", Quantity: units.Alkalinity, Level: math.NaN()}),
		"year above 9999": outside,
	} {
		t.Run(name, func(t *testing.T) {
			l := mustOpen(t, newPath(t))
			mustAppend(t, l, noted(1))
			if err := l.Append([]machine.Row{r}); err == nil || !l.Failed() {
				t.Fatalf("Append = %v, failed %v; want a failed ledger", err, l.Failed())
			}
			if err := l.Append(notes(2, 2)); !errors.Is(err, ErrFailed) || !strings.Contains(err.Error(), l.Failure().Error()) {
				t.Fatalf("Append to a failed ledger = %v; want ErrFailed and the reason", err)
			}
			if err := l.SetRetainedTopics(nil); !errors.Is(err, ErrFailed) {
				t.Fatalf("SetRetainedTopics on a failed ledger = %v; want ErrFailed", err)
			}
			wantRows(t, l, notes(1, 1))
		})
	}
}

func TestINV12RowsAreNeverChangedOrRemoved(t *testing.T) {
	l := mustOpen(t, newPath(t))
	mustAppend(t, l, varied()...)
	for _, statement := range []string{
		"UPDATE rows SET body = '{}' WHERE seq = 3",
		"UPDATE rows SET seq = 99 WHERE seq = 3",
		"DELETE FROM rows WHERE seq = 1",
		"DELETE FROM rows",
		"INSERT OR REPLACE INTO rows SELECT * FROM rows WHERE seq = 3",
		"INSERT INTO rows SELECT seq + 2, NULL, at, elapsed, trusted, by, kind, NULL, NULL, body FROM rows ORDER BY seq DESC LIMIT 1",
		"INSERT INTO rows SELECT 0, NULL, at, elapsed, trusted, by, kind, NULL, NULL, body FROM rows LIMIT 1",
	} {
		if _, err := l.write.ExecContext(context.Background(), statement); err == nil {
			t.Errorf("%s went through", statement)
		}
	}
	wantRows(t, l, varied())
}

func TestAnotherWriterIsNoticed(t *testing.T) {
	l := mustOpen(t, newPath(t))
	mustAppend(t, l, noted(1))
	_, err := l.write.ExecContext(context.Background(),
		"INSERT INTO rows SELECT 2, NULL, at, elapsed, trusted, by, kind, NULL, NULL, body FROM rows")
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Append(notes(2, 2)); err == nil || errors.Is(err, ErrConflict) || !l.Failed() {
		t.Fatalf("Append behind another writer's row = %v, failed %v; want a failed ledger", err, l.Failed())
	}
}

func TestH39LittleSpaceLeft(t *testing.T) {
	l, err := Open(Options{Path: newPath(t), MinFreeBytes: math.MaxInt64})
	if err != nil {
		t.Fatal(err)
	}
	defer mustClose(t, l)
	if err := l.Append(notes(1, 1)); !errors.Is(err, ErrDiskFull) || !l.Failed() {
		t.Fatalf("Append = %v, failed %v; want ErrDiskFull and a failed ledger", err, l.Failed())
	}
	wantRows(t, l, nil)
}

// stores is what Append should do, thought out without a database.
type stores struct {
	rows []machine.Row
	used map[string]bool
}

// append gives the errors of which Append may give any, none if the rows are to be stored. Where a row collides
// in two ways it does not matter which one is named.
func (s *stores) append(rows []machine.Row) []error {
	for i, r := range rows {
		if r.Seq != int64(len(s.rows)+i+1) {
			return []error{ErrConflict}
		}
	}
	seen := map[string]bool{}
	for _, r := range rows {
		var collisions []error
		for err, key := range map[error]string{ErrDuplicateRun: r.ID, ErrSlotServed: r.SlotKey(), ErrAnswered: r.Ref()} {
			if k := fmt.Sprint(err, key); key != "" && (s.used[k] || seen[k]) {
				collisions = append(collisions, err)
			} else if key != "" {
				seen[k] = true
			}
		}
		if collisions != nil {
			return collisions
		}
	}
	maps.Copy(s.used, seen)
	s.rows = append(s.rows, rows...)
	return nil
}

func oneOf(got error, allowed []error) bool {
	if got == nil {
		return len(allowed) == 0
	}
	return slices.ContainsFunc(allowed, func(want error) bool { return errors.Is(got, want) })
}

func TestAppendAgreesWithANaiveStore(t *testing.T) {
	fewerChecks(t)
	dir, n := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		l, err := Open(Options{Path: fmt.Sprintf("%s/%d.db", dir, n)})
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = l.Close() }()
		model := stores{used: map[string]bool{}}
		for range rapid.IntRange(1, 6).Draw(t, "batches") {
			var batch []machine.Row
			for i := range rapid.IntRange(1, 3).Draw(t, "size") {
				seq := int64(len(model.rows)+i+1) + rapid.SampledFrom([]int64{0, 0, 0, 0, 0, 0, 0, -1, 1}).Draw(t, "slip")
				batch = append(batch, anyRow(t, seq))
			}
			got, want := l.Append(batch), model.append(batch)
			if !oneOf(got, want) || l.Failed() {
				t.Fatalf("Append = %v, failed %v; want one of %v", got, l.Failed(), want)
			}
		}
		i := 0
		err = l.Each(1, func(r machine.Row) error {
			if r.Seq != int64(i+1) || r.ID != model.rows[i].ID || r.Body != model.rows[i].Body {
				return fmt.Errorf("row %d is %+v, want %+v", i+1, r, model.rows[i])
			}
			i++
			return nil
		})
		if err != nil || i != len(model.rows) {
			t.Fatalf("Each gave %d rows of %d: %v", i, len(model.rows), err)
		}
	})
}

// fewerChecks: each of these checks makes a database on disk.
func fewerChecks(t *testing.T) {
	f := flag.Lookup("rapid.checks")
	if f == nil || f.Value.String() != f.DefValue {
		return // somebody asked for another number
	}
	if err := f.Value.Set("30"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.Value.Set(f.DefValue); err != nil {
			t.Error(err)
		}
	})
}

func anyRow(t *rapid.T, seq int64) machine.Row {
	switch rapid.IntRange(0, 3).Draw(t, "kind") {
	case 0:
		run := rapid.SampledFrom([]string{"a", "b", "c", "d", "e"}).Draw(t, "run")
		return reserved(seq, run, rapid.SampledFrom([]string{"", "s1", "s2", "s3"}).Draw(t, "slot"))
	case 1:
		return answered(seq, rapid.SampledFrom([]string{"x", "y", "z"}).Draw(t, "ref"))
	case 2:
		return row(seq, machine.SlotCarried{Channel: "alk", Slot: rapid.SampledFrom([]string{"s1", "s2", "s3"}).Draw(t, "slot")})
	}
	return noted(seq)
}
