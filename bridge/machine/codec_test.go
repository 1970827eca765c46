package machine_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"sort"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"

	"pgregory.net/rapid"
)

// bodies has one of each kind with every field set.
func bodies() []machine.Body {
	at := time.Date(2027, 3, 2, 9, 0, 10, 123456789, time.UTC)
	channel := machine.Scope{Channel: "alk", System: "reef", Interlock: "leak"}
	return []machine.Body{
		machine.RunReserved{Run: "01J", Channel: "alk", Container: "jug", Node: "board", Output: 2, Serial: 7, Purpose: machine.Dose, Into: machine.IntoTank,
			Slot: "2027-03-02T09:00", Volume: 2020, Duration: 12_400, Longest: 60_000, Worst: 5000, Tolerance: 50, Offset: 100, RunsOn: 120, Rate: 163_333, CarryNL: 999, DayVolume: 48_000},
		machine.RunEnded{Run: "01J", Outcome: machine.Partial, Duration: 11_000, Hi: 2121, Lo: 1700, Reason: "asked to"},
		machine.RunPast{Channel: "alk", Happened: at, Purpose: machine.Manual, Into: machine.IntoVessel, Volume: 2020, Duration: 12_400, Delivered: ref(ml(1.9)), Outcome: machine.Partial,
			Sum: &machine.RunSum{Runs: 3, From: at, Until: at, Container: "jug", Booked: 4, Hi: 5, Lo: 6, Longest: 7, Serial: 8, CarryNL: 9, DayVolume: 10}},
		machine.SlotCarried{Channel: "alk", Slot: "2027-03-02T10:00", CarryNL: 120_000},
		machine.Test{System: "reef", Quantity: units.Alkalinity, Level: 8.012, Value: 143, Unit: "ppm CaCO3", SampleC: ref(24.5), Taken: at, Method: "titration", Lot: "7", Of: "tank", Confirmed: true, Stated: 140, StatedLevel: 7.844},
		machine.Calibration{Channel: "alk", Trials: []metering.Trial{{Seconds: 60, MeasuredML: 9.8}}, Rate: 163_333, Offset: -200, RunsOn: 10, Tolerance: 150, Provisional: true},
		machine.Primed{Channel: "alk"},
		machine.Tube{Channel: "alk"},
		machine.Refill{Container: "jug", Added: 4500, Remaining: ref(ml(5))},
		machine.Swap{Container: "jug", Supplement: "carbonate", Remaining: 5000},
		machine.WaterChange{System: "reef", Taken: at, Until: at.Add(time.Hour), Litres: 30, Mix: []machine.Level{{Quantity: units.Salinity, Level: 35}}},
		machine.SalinityCorrection{System: "reef", Litres: -1.5, Level: ref(35.0)},
		machine.Hold{Scope: channel, Reason: "cleaning", Until: at, Length: 3_600_000},
		machine.Release{Scope: channel},
		machine.OutOfService{Scope: channel, Reason: "moving"},
		machine.Lockout{Scope: channel, Code: safety.Fault, Text: "it does not stop"},
		machine.Cleared{Scope: channel, Code: safety.Fault},
		machine.Proof{Channel: "mg", Node: "plug", Output: 1, OnFor: 59_900, Fingerprint: "plug-1"},
		machine.Accepted{What: "ledger", Channel: "alk", Fingerprint: "f", Text: "looked", Bounds: map[string]float64{"a": 1}},
		machine.ProbeMean{Probe: "ph", From: at, Until: at.Add(time.Minute), Mean: 8.213, Count: 15},
		machine.Note{System: "reef", Note: "other", Text: "\u00b5 \"quoted\"\n"},
		machine.Answered{Ref: "k1", Verb: "test", OK: true, Code: safety.OK, Text: "taken", Result: `{"level":8}`},
		machine.ClockConfirmed{},
		machine.DaemonStarted{Instance: "one", Epoch: 3, Version: "test", Serial: 10_000, Bounds: map[string]float64{"a": 1.5}},
		machine.DaemonStopped{Instance: "one", Reason: "asked to"},
		machine.AlertChanged{Name: "clock", Level: machine.Warning, Raised: true, Acknowledged: true, Silence: 60_000, Text: "it jumped"},
	}
}

func TestEveryBodyRoundTrips(t *testing.T) {
	for _, b := range bodies() {
		t.Run(b.Kind(), func(t *testing.T) {
			text, err := machine.EncodeBody(b)
			if err != nil {
				t.Fatal(err)
			}
			got, err := machine.DecodeBody(b.Kind(), string(text))
			if err != nil {
				t.Fatalf("%s: %v", text, err)
			}
			if !reflect.DeepEqual(got, b) {
				t.Errorf("%s reads back as %+v; want %+v", text, got, b)
			}
			zero := reflect.New(reflect.TypeOf(b)).Elem().Interface().(machine.Body)
			text, _ = machine.EncodeBody(zero)
			if got, err := machine.DecodeBody(b.Kind(), string(text)); err != nil || !reflect.DeepEqual(got, zero) {
				t.Errorf("the empty body %s reads back as %+v, %v", text, got, err)
			}
		})
	}
}

// The samples above leave no field out: one that is not written would be lost without a word.
func TestBodySamplesSetEveryField(t *testing.T) {
	for _, b := range bodies() {
		v := reflect.ValueOf(b)
		for i := range v.NumField() {
			if v.Field(i).IsZero() {
				t.Errorf("%s: the sample has no %s", b.Kind(), v.Type().Field(i).Name)
			}
		}
	}
}

// Every type with a Kind method is among the samples, so that a new kind cannot be forgotten here or in the decoders.
func TestBodySamplesHaveEveryKind(t *testing.T) {
	var written, sampled []string
	file, err := parser.ParseFile(token.NewFileSet(), "codec.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range file.Decls {
		if f, ok := d.(*ast.FuncDecl); ok && f.Name.Name == "Kind" && f.Recv != nil {
			written = append(written, f.Recv.List[0].Type.(*ast.Ident).Name)
		}
	}
	for _, b := range bodies() {
		sampled = append(sampled, reflect.TypeOf(b).Name())
	}
	sort.Strings(written)
	sort.Strings(sampled)
	if !reflect.DeepEqual(written, sampled) {
		t.Errorf("kinds %v; want %v", sampled, written)
	}
}

func TestDecodeBodyRefuses(t *testing.T) {
	for _, c := range []struct{ name, kind, text, want string }{
		{"an unknown kind", "dance", `{}`, `unknown kind of row "dance"`},
		{"an unknown field", "primed", `{"channel":"alk","when":1}`, `unknown field "when"`},
		{"an unknown field inside", "hold", `{"scope":{"room":"x"}}`, `unknown field "room"`},
		{"a wrong type", "primed", `{"channel":7}`, "cannot unmarshal"},
		{"two values", "primed", `{"channel":"alk"} {}`, "more than one JSON value"},
		{"half a value", "primed", `{"channel":"al`, "unexpected EOF"},
		{"nothing", "primed", ``, "EOF"},
		{"a fraction of a µL", "refill", `{"container":"jug","added_ul":0.5}`, "cannot unmarshal"},
		{"a number that does not fit", "refill", `{"container":"jug","added_ul":1e30}`, "cannot unmarshal"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, err := machine.DecodeBody(c.kind, c.text)
			if err == nil || b != nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("DecodeBody(%s, %s) = %v, %v; want an error with %q", c.kind, c.text, b, err, c.want)
			}
		})
	}
}

// Amounts come back to the last µL and ms, times to the last ns, floats bit for bit.
func TestNumbersRoundTripExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "s"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns")).UTC()
		for _, b := range []machine.Body{
			machine.RunEnded{Run: "r", Outcome: machine.Finished, Duration: safety.Milliseconds(rapid.Int64().Draw(t, "ms")), Hi: safety.Microlitres(rapid.Int64().Draw(t, "hi"))},
			machine.ProbeMean{Probe: "p", From: at, Until: at, Mean: rapid.Float64().Draw(t, "mean"), Count: rapid.Int().Draw(t, "count")},
			machine.Note{System: "s", Text: rapid.String().Draw(t, "text")},
		} {
			text, err := machine.EncodeBody(b)
			if err != nil {
				t.Fatal(err)
			}
			if got, err := machine.DecodeBody(b.Kind(), string(text)); err != nil || !reflect.DeepEqual(got, b) {
				t.Fatalf("%s reads back as %+v, %v; want %+v", text, got, err, b)
			}
		}
	})
}

func FuzzDecodeBody(f *testing.F) {
	for _, b := range bodies() {
		text, err := machine.EncodeBody(b)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b.Kind(), string(text))
	}
	f.Fuzz(func(t *testing.T, kind, text string) {
		b, err := machine.DecodeBody(kind, text)
		if err != nil {
			if b != nil {
				t.Fatalf("%s %s: refused with %v and still gave %+v", kind, text, err, b)
			}
			return
		}
		again, err := machine.EncodeBody(b)
		if err != nil {
			t.Fatalf("%s %s: read, and cannot be written: %v", kind, text, err)
		}
		if c, err := machine.DecodeBody(kind, string(again)); err != nil || !reflect.DeepEqual(b, c) {
			t.Fatalf("%s %s is written as %s, which reads %+v, %v", kind, text, again, c, err)
		}
	})
}

func TestKeysOfRows(t *testing.T) {
	for _, c := range []struct {
		name      string
		body      machine.Body
		slot, ref string
	}{
		{"a run of a slot", machine.RunReserved{Channel: "alk", Slot: "2027-03-02T09:00"}, "alk@2027-03-02T09:00", ""},
		{"a run that was asked for", machine.RunReserved{Channel: "alk"}, "", ""},
		{"a carried slot", machine.SlotCarried{Channel: "alk", Slot: "2027-03-02T09:00"}, "alk@2027-03-02T09:00", ""},
		{"an answer", machine.Answered{Ref: "k1"}, "", "k1"},
		{"a note", machine.Note{System: "reef"}, "", ""},
	} {
		if r := (machine.Row{Body: c.body}); r.SlotKey() != c.slot || r.Ref() != c.ref {
			t.Errorf("%s: slot %q and ref %q; want %q and %q", c.name, r.SlotKey(), r.Ref(), c.slot, c.ref)
		}
	}
}
