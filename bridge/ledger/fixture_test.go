package ledger

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

// The site of these tests is invented.

var start = time.Date(2027, 3, 1, 7, 0, 0, 123456789, time.UTC)

func row(seq int64, b machine.Body) machine.Row {
	return machine.Row{Seq: seq, At: start.Add(time.Duration(seq) * time.Second), Elapsed: safety.Elapsed(seq * 1000), Trusted: true, Body: b}
}

func noted(seq int64) machine.Row {
	return row(seq, machine.Note{System: "nursery", Note: "other", Text: fmt.Sprint("remark ", seq)})
}

func notes(from, until int64) []machine.Row {
	var rows []machine.Row
	for seq := from; seq <= until; seq++ {
		rows = append(rows, noted(seq))
	}
	return rows
}

func reserved(seq int64, run, slot string) machine.Row {
	r := row(seq, machine.RunReserved{Run: run, Channel: "alk", Container: "carbonate-jug", Node: "board", Output: 1, Serial: seq,
		Purpose: machine.Dose, Into: machine.IntoTank, Slot: slot, Volume: 2020, Duration: 12_400, Longest: 12_400, Worst: 2020,
		Tolerance: 50, Rate: 163_333, CarryNL: 7, DayVolume: 24_240})
	r.ID = run
	return r
}

func answered(seq int64, ref string) machine.Row {
	return row(seq, machine.Answered{Ref: ref, Verb: "note", OK: true, Code: safety.OK, Text: "noted"})
}

// varied is one row of most kinds.
func varied() []machine.Row {
	rest, level := safety.Microlitres(4_000_000), 34.8
	bodies := []machine.Body{
		machine.DaemonStarted{Instance: "a1", Epoch: 1, Version: "0.1.0"},
		machine.Refill{Container: "carbonate-jug", Added: 5_000_000, Remaining: &rest},
		machine.Primed{Channel: "alk"},
		machine.Calibration{Channel: "alk", Trials: []metering.Trial{{Seconds: 60, MeasuredML: 9.8}}, Rate: 163_333, Tolerance: 150, Provisional: true},
		machine.Test{System: "nursery", Quantity: units.Alkalinity, Level: 8.3, Value: 8.3, Unit: "dKH", Taken: start},
		machine.RunEnded{Run: "r1", Outcome: machine.Finished, Duration: 12_381, Hi: 2121, Lo: 1920},
		machine.SlotCarried{Channel: "ca", Slot: "2027-03-01T10:00", CarryNL: 120_000},
		machine.WaterChange{System: "nursery", Taken: start, Litres: 30, Mix: []machine.Level{{Quantity: units.Salinity, Level: 35}}},
		machine.SalinityCorrection{System: "nursery", Level: &level},
		machine.Hold{Scope: machine.Scope{System: "nursery"}, Reason: "feeding", Until: start.Add(time.Hour), Length: 3_600_000},
		machine.Lockout{Scope: machine.Scope{Channel: "alk"}, Code: safety.Fault, Text: "on 3 s beyond its time"},
		machine.Cleared{Scope: machine.Scope{Channel: "alk"}, Code: safety.Fault},
		machine.ClockConfirmed{},
		machine.DaemonStopped{Instance: "a1", Reason: "SIGTERM"},
	}
	var rows []machine.Row
	for i, b := range bodies {
		rows = append(rows, row(int64(i)+1, b))
	}
	rows[3].By, rows[4].Trusted = `keeper "one"`, false
	n := int64(len(rows))
	return append(rows, reserved(n+1, "r2", "2027-03-01T09:00"), answered(n+2, "ask-1"))
}

func newPath(t *testing.T) string {
	t.Helper()
	return filepath.Join(t.TempDir(), "ledger.db")
}

func mustOpen(t *testing.T, path string) *Ledger {
	t.Helper()
	l, err := Open(Options{Path: path})
	if err != nil {
		t.Fatalf("Open(%s): %v", path, err)
	}
	t.Cleanup(func() { _ = l.Close() }) // a test that minds closes it itself
	return l
}

func mustAppend(t *testing.T, l *Ledger, rows ...machine.Row) {
	t.Helper()
	if err := l.Append(rows); err != nil {
		t.Fatalf("Append(%d rows from %d): %v", len(rows), rows[0].Seq, err)
	}
}

func mustClose(t *testing.T, l *Ledger) {
	t.Helper()
	if err := l.Close(); err != nil {
		t.Fatalf("Close: %v", err)
	}
}

func allRows(t *testing.T, l *Ledger) []machine.Row {
	t.Helper()
	var rows []machine.Row
	if err := l.Each(1, func(r machine.Row) error { rows = append(rows, r); return nil }); err != nil {
		t.Fatalf("Each: %v", err)
	}
	return rows
}

func wantRows(t *testing.T, l *Ledger, want []machine.Row) {
	t.Helper()
	got := allRows(t, l)
	if len(got) != len(want) {
		t.Fatalf("the ledger has %d rows, want %d", len(got), len(want))
	}
	for i := range want {
		if !reflect.DeepEqual(got[i], want[i]) {
			t.Fatalf("row %d reads %+v, was stored as %+v", i+1, got[i], want[i])
		}
	}
}

// filled makes a closed ledger of n rows and gives its path.
func filled(t *testing.T, n int64) string {
	t.Helper()
	path := newPath(t)
	l := mustOpen(t, path)
	mustAppend(t, l, notes(1, n)...)
	mustClose(t, l)
	return path
}

func fileBytes(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func writeFile(t *testing.T, path, content string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
}
