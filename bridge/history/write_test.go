package history

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

func TestEveryTypeComesBackByteForByte(t *testing.T) {
	text := testdata(t, "every-type.jsonl")
	rows, notes := mustRead(t, text)
	if got := mustWrite(t, rows); got != text {
		t.Fatalf("written again it is\n%s\nwas\n%s", got, text)
	}
	if len(notes) != 1 || notes[0].Line != 5 { // two trials that differ by 0.3 %: fewer than three, but a rate
		if len(notes) != 0 {
			t.Fatalf("notes %v; want none", notes)
		}
	}
	seen := map[string]bool{}
	for line := range strings.Lines(text) {
		for name := range kinds {
			if strings.Contains(line, `"type":"`+name+`"`) {
				seen[name] = true
			}
		}
	}
	if len(seen) != len(kinds) {
		t.Fatalf("the file has %d of %d types", len(seen), len(kinds))
	}
}

func reserved(seq int64, clock, run string) machine.Row {
	return machine.Row{Seq: seq, ID: run, At: at(clock), Body: machine.RunReserved{Run: run, Channel: "alk", Container: "jug", Node: "board",
		Output: 1, Serial: seq, Purpose: machine.Dose, Into: machine.IntoTank, Slot: "2027-03-01T08:00", Volume: 2040, Duration: 12_400,
		Longest: 13_000, Worst: 2200, Tolerance: 50, Rate: 163_333, CarryNL: 3, DayVolume: 24_000}}
}

func ended(seq int64, clock string, b machine.RunEnded) machine.Row {
	return machine.Row{Seq: seq, At: at(clock), Body: b}
}

// Each case is what the ledger says of the run r1, reserved at 08:00:00, and the line that follows.
func TestRunsAreJoined(t *testing.T) {
	const head = `{"time":"2027-03-01T08:00:00Z","type":"run","channel":"alk","volume_ml":2.04,`
	for _, c := range []struct {
		name string
		ends []machine.RunEnded
		want string
	}{
		{"no end", nil, `"outcome":"unknown","seconds":12.4,"id":"r1"}`},
		{"finished with a report", []machine.RunEnded{{Outcome: machine.Finished, Duration: 12_381, Hi: 2310, Lo: 1921}}, `"outcome":"finished","seconds":12.381,"delivered_ml":2.023,"id":"r1"}`},
		{"finished without a time", []machine.RunEnded{{Outcome: machine.Finished, Hi: 2310, Lo: 1938}}, `"outcome":"finished","seconds":12.4,"id":"r1"}`},
		{"partial", []machine.RunEnded{{Outcome: machine.Partial, Duration: 6200, Hi: 2310, Lo: 962}}, `"outcome":"partial","seconds":6.2,"delivered_ml":1.013,"id":"r1"}`},
		{"partial without a time", []machine.RunEnded{{Outcome: machine.Partial, Hi: 2310, Lo: 500}}, `"outcome":"partial","seconds":12.4,"delivered_ml":0.5,"id":"r1"}`},
		{"unknown", []machine.RunEnded{{Outcome: machine.Unknown, Hi: 2310}}, `"outcome":"unknown","seconds":12.4,"id":"r1"}`},
		{"refused", []machine.RunEnded{{Outcome: machine.Refused, Hi: 2310, Reason: "busy"}}, `"outcome":"unknown","seconds":12.4,"id":"r1"}`},
		{"not sent", []machine.RunEnded{{Outcome: machine.NotSent}}, `"outcome":"not_sent","seconds":12.4,"id":"r1"}`},
		{"extra after finished", []machine.RunEnded{{Outcome: machine.Finished, Duration: 12_400, Hi: 2310, Lo: 1924}, {Outcome: machine.Extra, Hi: 9000}}, `"outcome":"finished","seconds":12.4,"delivered_ml":2.026,"id":"r1"}`},
		{"a late report after unknown", []machine.RunEnded{{Outcome: machine.Unknown, Hi: 2310}, {Outcome: machine.Finished, Duration: 12_400, Hi: 2310, Lo: 1924}}, `"outcome":"unknown","seconds":12.4,"id":"r1"}`},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows := []machine.Row{reserved(1, "08:00:00", "r1")}
			for i, e := range c.ends {
				e.Run = "r1"
				rows = append(rows, ended(int64(i)+2, "08:00:13", e))
			}
			if got := mustWrite(t, rows); got != head+c.want+"\n" {
				t.Fatalf("written as\n%swant\n%s%s", got, head, c.want)
			}
		})
	}
}

func TestProofRunIsATestIntoAVessel(t *testing.T) {
	r := reserved(1, "08:00:00", "r1")
	b, _ := r.Body.(machine.RunReserved)
	b.Purpose, b.Into = machine.Prove, machine.IntoVessel
	r.Body = b
	if got := mustWrite(t, []machine.Row{r}); !strings.Contains(got, `"purpose":"test","into":"vessel"`) {
		t.Fatalf("written as %s", got)
	}
}

func TestRowsWithoutALineTypeAreLeftOut(t *testing.T) {
	var rows []machine.Row
	for i, b := range []machine.Body{machine.DaemonStarted{}, machine.DaemonStopped{}, machine.Answered{Ref: "a"}, machine.AlertChanged{}, machine.SlotCarried{},
		machine.ClockConfirmed{}, machine.RunEnded{Run: "before the first row", Outcome: machine.Finished},
		machine.Lockout{Scope: machine.Scope{Interlock: "ph-high"}, Code: safety.InterlockActive}, machine.Cleared{Scope: machine.Scope{Interlock: "ph-high"}},
		machine.Tube{Channel: "alk"}} {
		rows = append(rows, machine.Row{Seq: int64(i) + 1, At: at("07:00:00"), Body: b})
	}
	if got := mustWrite(t, rows); got != tubeAt7 {
		t.Fatalf("written as\n%swant the tube alone", got)
	}
}

func TestMeansOfUnknownProbesAreLeftOutWithANote(t *testing.T) {
	mean := func(probe string) machine.Row {
		return machine.Row{Seq: 1, At: at("07:00:00"), Body: machine.ProbeMean{Probe: probe, Until: at("07:00:00"), Mean: 8.2, Count: 9}}
	}
	var b strings.Builder
	notes, err := site.Write(&b, slices.Values([]machine.Row{mean("gone"), mean("ph"), mean("gone"), mean("away")}))
	if err != nil || strings.Count(b.String(), "\n") != 1 || !strings.Contains(b.String(), `"unit":"pH"`) {
		t.Fatalf("%v\n%s", err, b.String())
	}
	want := []Note{{Text: "1 means of probe away are left out: it is not known what it measures"}, {Text: "2 means of probe gone are left out: it is not known what it measures"}}
	if !reflect.DeepEqual(notes, want) {
		t.Fatalf("notes %v; want %v", notes, want)
	}
	b.Reset()
	if notes, err := Write(&b, slices.Values([]machine.Row{mean("ph")})); err != nil || len(notes) != 1 || b.Len() != 0 {
		t.Fatalf("without a site: %v, %v, %q; want a note and no line", notes, err, b.String())
	}
}

func TestWhatCannotBeWrittenIsAnErrorThatNamesTheRow(t *testing.T) {
	for name, body := range map[string]machine.Body{
		"not a number": machine.Test{System: "s", Quantity: units.PH, Value: math.NaN(), Unit: "pH", Taken: at("07:00:00")},
		"infinite":     machine.WaterChange{System: "s", Taken: at("07:00:00"), Litres: math.Inf(1)},
		"below zero":   machine.Refill{Container: "jug", Added: -1},
		"before 1970":  machine.RunPast{Channel: "alk", Happened: at("07:00:00").AddDate(-100, 0, 0), Volume: 1, Outcome: machine.Unknown},
	} {
		var b strings.Builder
		_, err := site.Write(&b, slices.Values([]machine.Row{{Seq: 17, At: at("07:00:00"), Body: body}}))
		if err == nil || !strings.HasPrefix(err.Error(), "row 17 (") || b.Len() != 0 {
			t.Errorf("%s: %v, %q; want an error about row 17 and nothing written", name, err, b.String())
		}
	}
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errors.New("no room") }

func TestWriteReportsTheWritersError(t *testing.T) {
	rows := []machine.Row{{Seq: 1, At: at("07:00:00"), Body: machine.Tube{Channel: "alk"}}}
	if _, err := Write(brokenWriter{}, slices.Values(rows)); err == nil || err.Error() != "no room" {
		t.Fatalf("Write = %v; want the writer's error", err)
	}
}

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, errors.New("card removed") }

func TestReadReportsTheReadersError(t *testing.T) {
	if _, _, err := Read(brokenReader{}, "h.jsonl"); err == nil || err.Error() != "reading h.jsonl: card removed" {
		t.Fatalf("Read = %v; want the reader's error", err)
	}
}

// drawRows makes rows as a ledger may have them: recorded in order, about things that happened then or before.
func drawRows(t *rapid.T) []machine.Row {
	var rows []machine.Row
	var open []string
	now := at("07:00:00")
	for i := range rapid.IntRange(0, 12).Draw(t, "rows") {
		now = now.Add(time.Duration(rapid.SampledFrom([]int{0, 0, 1, 250, 60_000, 3_600_000}).Draw(t, "later")) * time.Millisecond)
		r := machine.Row{Seq: int64(i) + 1, At: now, Elapsed: safety.Elapsed(now.UnixMilli()), Trusted: true,
			ID: "id-" + string(rune('a'+i)), By: rapid.SampledFrom([]string{"", "Ines", `"Ö" \ <`}).Draw(t, "by"), Body: drawBody(t, now)}
		switch b := r.Body.(type) {
		case machine.RunReserved:
			b.Run = r.ID
			r.Body, open = b, append(open, b.Run)
		case machine.RunEnded:
			if len(open) == 0 {
				continue
			}
			r.ID = ""
			b.Run = rapid.SampledFrom(open).Draw(t, "run")
			r.Body = b
		}
		rows = append(rows, r)
	}
	return rows
}

var (
	names  = rapid.SampledFrom([]string{"alk", "ca", "magnesium-jug", "späte", "a b"})
	amount = rapid.Custom(func(t *rapid.T) safety.Microlitres {
		return safety.Microlitres(rapid.SampledFrom([]int64{1, 10, 999, 1000, 2040, 5_000_000, 999_999_999}).Draw(t, "amount"))
	})
	number = rapid.SampledFrom([]float64{0.1, 1.0 / 3, 8.3, 430, 1e-9, 1e22, 35.123456789012345})
)

func drawScope(t *rapid.T) machine.Scope {
	return rapid.SampledFrom([]machine.Scope{{}, {Channel: "alk"}, {System: "nursery"}}).Draw(t, "scope")
}

func drawBody(t *rapid.T, now time.Time) machine.Body {
	earlier := now.Add(-time.Duration(rapid.IntRange(0, 3).Draw(t, "hours ago")) * time.Hour)
	switch rapid.IntRange(0, 17).Draw(t, "kind") {
	case 0:
		return machine.RunReserved{Channel: names.Draw(t, "name"), Purpose: rapid.SampledFrom([]machine.Purpose{machine.Dose, machine.Prime, machine.Prove}).Draw(t, "purpose"),
			Into: rapid.SampledFrom([]machine.Into{machine.IntoTank, machine.IntoVessel}).Draw(t, "into"), Volume: amount.Draw(t, "volume"),
			Duration: safety.Milliseconds(rapid.IntRange(1, 600_000).Draw(t, "duration")), Rate: safety.Rate(rapid.IntRange(0, 200_000).Draw(t, "rate"))}
	case 1:
		return machine.RunEnded{Outcome: rapid.SampledFrom([]machine.Outcome{machine.Finished, machine.Partial, machine.Unknown, machine.NotSent, machine.Refused, machine.Extra}).Draw(t, "outcome"),
			Duration: safety.Milliseconds(rapid.IntRange(0, 600_000).Draw(t, "duration")), Hi: amount.Draw(t, "hi"), Lo: amount.Draw(t, "lo")}
	case 2:
		if b := rapid.IntRange(0, 3).Draw(t, "of a reference"); b == 0 {
			return machine.Test{System: "nursery", Quantity: units.Alkalinity, Value: number.Draw(t, "value"), Unit: "dKH", Taken: earlier, Of: "reference", Lot: "7",
				Stated: rapid.Float64Range(0.1, 20).Draw(t, "stated")}
		}
		return machine.Test{System: "nursery", Quantity: units.Alkalinity, Value: number.Draw(t, "value"), Unit: rapid.SampledFrom([]string{"dKH", "meq/L"}).Draw(t, "unit"),
			Taken: earlier, Of: rapid.SampledFrom([]string{"", "tank", "reference"}).Draw(t, "of")}
	case 3:
		return machine.Calibration{Channel: names.Draw(t, "name"), Trials: []metering.Trial{{Seconds: number.Draw(t, "seconds"), MeasuredML: number.Draw(t, "ml")}}, Rate: 7}
	case 4:
		return machine.Tube{Channel: names.Draw(t, "name")}
	case 5:
		rest := amount.Draw(t, "rest")
		return machine.Refill{Container: names.Draw(t, "name"), Added: amount.Draw(t, "added"), Remaining: rapid.SampledFrom([]*safety.Microlitres{nil, &rest}).Draw(t, "stated")}
	case 6:
		return machine.Swap{Container: names.Draw(t, "name"), Supplement: "carbonate", Remaining: amount.Draw(t, "rest")}
	case 7:
		return machine.WaterChange{System: "nursery", Taken: earlier, Until: rapid.SampledFrom([]time.Time{{}, earlier, now.Add(time.Hour)}).Draw(t, "until"), Litres: number.Draw(t, "litres"),
			Mix: rapid.SampledFrom([][]machine.Level{nil, {{Quantity: units.Calcium, Level: 430}, {Quantity: units.Salinity, Level: 35.1}}}).Draw(t, "mix")}
	case 8:
		return machine.SalinityCorrection{System: "nursery", Litres: -number.Draw(t, "litres")}
	case 9:
		return machine.Hold{Scope: drawScope(t), Reason: rapid.String().Draw(t, "reason"), Until: now.Add(time.Duration(rapid.IntRange(1, 1e9).Draw(t, "length")))}
	case 10:
		return machine.Release{Scope: drawScope(t)}
	case 11:
		return machine.OutOfService{Scope: drawScope(t), Reason: "leak"}
	case 12:
		return machine.Lockout{Scope: drawScope(t), Code: rapid.SampledFrom(codes).Draw(t, "code"), Text: rapid.String().Draw(t, "text")}
	case 13:
		return machine.Cleared{Scope: drawScope(t), Code: rapid.SampledFrom(codes).Draw(t, "code")}
	case 14:
		return machine.Proof{Channel: "mg", Node: "plug", Fingerprint: "f"}
	case 15:
		if rapid.Bool().Draw(t, "of a channel") {
			return machine.Accepted{What: rapid.SampledFrom([]string{machine.Placement, machine.Commissioned}).Draw(t, "what"), Channel: "alk", Text: "lift 0.4 m: yes"}
		}
		return machine.Accepted{What: "ledger", Text: "t"}
	case 16:
		return machine.ProbeMean{Probe: rapid.SampledFrom([]string{"ph", "leak"}).Draw(t, "probe"), Until: earlier, Mean: 1.0 / 3, Count: 7}
	}
	return machine.Note{System: "nursery", Note: "other", Text: rapid.String().Draw(t, "text")}
}

func TestWrittenHistoriesComeBackByteForByte(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := drawRows(t)
		first := write(t, rows)
		again, _, err := site.Read(strings.NewReader(first), "first")
		if err != nil {
			t.Fatalf("%v\n%s", err, first)
		}
		checkKept(t, rows, again)
		if second := write(t, again); second != first {
			t.Fatalf("written a second time it is\n%swas\n%s", second, first)
		}
	})
}

func write(t *rapid.T, rows []machine.Row) string {
	var b bytes.Buffer
	if _, err := site.Write(&b, slices.Values(rows)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// checkKept compares what was written with what was read, apart from the losses that the package names. It works
// out each row's expectation by itself, without the writer.
func checkKept(t *rapid.T, rows, again []machine.Row) {
	byID := map[string]machine.Row{}
	for _, r := range again {
		byID[r.ID] = r
	}
	ends := map[string]machine.RunEnded{}
	for _, r := range rows {
		if b, ok := r.Body.(machine.RunEnded); ok {
			if _, had := ends[b.Run]; !had {
				ends[b.Run] = b
			}
			continue
		}
		got, ok := byID[r.ID]
		if want := expected(r, ends, rows); !ok || got.By != r.By || !reflect.DeepEqual(got.Body, want) {
			t.Fatalf("row %+v\nreads %+v\nwant  %+v", r, got.Body, want)
		}
		delete(byID, r.ID)
	}
	if len(byID) != 0 {
		t.Fatalf("rows came up that were not written: %v", byID)
	}
}

func expected(r machine.Row, _ map[string]machine.RunEnded, rows []machine.Row) machine.Body {
	switch b := r.Body.(type) {
	case machine.RunReserved:
		return expectedRun(r, b, rows)
	case machine.Test:
		b.Level, _ = units.ToCanonical(b.Quantity, b.Value, b.Unit)
		if b.Stated > 0 {
			b.StatedLevel, _ = units.ToCanonical(b.Quantity, b.Stated, b.Unit)
		}
		if b.Of == "tank" {
			b.Of = ""
		}
		return b
	case machine.Calibration:
		b.Rate = 0
		return b
	case machine.WaterChange:
		if !b.Until.After(b.Taken) {
			b.Until = time.Time{}
		}
		return b
	case machine.Hold:
		b.Reason, b.Length = strings.ToValidUTF8(b.Reason, "\ufffd"), safety.MillisecondsUp(b.Until.Sub(r.At))
		return b
	case machine.Proof:
		return machine.Proof{Channel: b.Channel, Node: b.Node}
	case machine.Accepted:
		if b.Channel != "" {
			return b
		}
		return machine.Accepted{What: b.What}
	case machine.ProbeMean:
		b.From, b.Count = b.Until, 1
		return b
	}
	return r.Body
}

func expectedRun(r machine.Row, b machine.RunReserved, rows []machine.Row) machine.Body {
	p := machine.RunPast{Channel: b.Channel, Happened: r.At, Purpose: b.Purpose, Into: b.Into, Volume: b.Volume, Duration: b.Duration, Outcome: machine.Unknown}
	if b.Purpose == machine.Prove {
		p.Purpose = machine.TestRun
	}
	i := slices.IndexFunc(rows, func(r machine.Row) bool { e, ok := r.Body.(machine.RunEnded); return ok && e.Run == b.Run })
	if i < 0 {
		return p
	}
	e, _ := rows[i].Body.(machine.RunEnded)
	reported := e.Duration > 0 && b.Rate > 0
	switch e.Outcome {
	case machine.NotSent:
		p.Outcome = e.Outcome
	case machine.Finished, machine.Partial:
		p.Outcome = e.Outcome
		if moved := b.Rate.VolumeIn(e.Duration); reported {
			p.Duration, p.Delivered = e.Duration, &moved
		} else if e.Outcome == machine.Partial {
			p.Delivered = &e.Lo
		}
	}
	return p
}
