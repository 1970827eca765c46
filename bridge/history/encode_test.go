package history

import (
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

func TestThousandths(t *testing.T) {
	for v, want := range map[int64]string{0: "0", 1: "0.001", 10: "0.01", 100: "0.1", 999: "0.999", 1000: "1", 1001: "1.001",
		2020: "2.02", 5_000_000: "5000", math.MaxInt64: "9223372036854775.807"} {
		var e encoder
		e.thousandths(fVolumeML, v)
		if got := string(e.b); got != `"volume_ml":`+want || e.err != nil {
			t.Errorf("%d is written %s, %v; want %s", v, got, e.err, want)
		}
	}
	var e encoder
	if e.thousandths(fVolumeML, -1); e.err == nil {
		t.Error("a volume below 0 was written")
	}
}

// Volumes are whole µL: what is written reads back as the same number of them, up to the largest that is read.
func TestThousandthsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Int64Range(1, 1e12).Draw(t, "µL")
		var e encoder
		e.b = append(e.b, `{"time":"2027-03-01T07:00:00Z","type":"refill","container":"jug"`...)
		e.thousandths(fVolumeML, v)
		rows, err := Decode(append(e.b, '}'), 1)
		if err != nil {
			t.Fatal(err)
		}
		if b, ok := rows[0].Body.(machine.Refill); !ok || int64(b.Added) != v {
			t.Fatalf("%d µL were written as %s and read as %d", v, e.b, b.Added)
		}
	})
}

func TestFloatsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "v")
		var e encoder
		e.float(v)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			if e.err == nil {
				t.Fatalf("%v was written as %s", v, e.b)
			}
			return
		}
		p := scan{s: string(e.b)}
		if got, err := p.takeNumber(); err != nil || got != v || p.i != len(p.s) || !json.Valid(e.b) {
			t.Fatalf("%v was written as %s and read as %v, %v", v, e.b, got, err)
		}
	})
}

func TestTextsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(rapid.String(), rapid.StringMatching(`[ -~]*`), rapid.Just("<a&b> \u2028 \x7f \\\" \x00")).Draw(t, "s")
		var e encoder
		e.quoted(s)
		p := scan{s: string(e.b)}
		if got, err := p.takeText(); err != nil || got != s || p.i != len(p.s) {
			t.Fatalf("%q was written as %s and read as %q, %v", s, e.b, got, err)
		}
	})
}

func TestDerivedIDsAreKnownAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := idKey{number: rapid.Int32Range(1, math.MaxInt32).Draw(t, "number")}
		copy(k.digest[:], rapid.SliceOfN(rapid.Byte(), derivedBytes, derivedBytes).Draw(t, "digest"))
		if got := keyOf(derivedID(k)); got != k {
			t.Fatalf("%s has the key %v, was made of %v", derivedID(k), got, k)
		}
	})
	plain := derivedID(idKey{number: 1})
	seen := map[idKey]string{keyOf(plain): plain}
	for _, id := range []string{plain + "-1", plain + "-02", plain + "-0", plain + "--2", plain + "-", plain + "-2147483648", strings.ToUpper(plain),
		plain + "0", plain[:len(plain)-1], "h-", "h-" + strings.Repeat("g", 24), "r1", plain + "-2"} {
		k := keyOf(id)
		if other, taken := seen[k]; taken {
			t.Errorf("%q and %q have the same key", id, other)
		}
		seen[k] = id
	}
}

// Lines ascend by when a thing happened; at the same time, by when it became known; else in the ledger's order.
func TestOrderOfLines(t *testing.T) {
	ph := func(taken string) machine.Body {
		return machine.Test{System: "s", Quantity: units.PH, Value: 8.2, Unit: "pH", Taken: at(taken)}
	}
	var rows []machine.Row
	for i, r := range []struct {
		id, at string
		body   machine.Body
	}{
		{"late test", "10:00:00", ph("07:00:00")},
		{"tube", "07:00:00", machine.Tube{Channel: "alk"}}, // the clock was set back before it
		{"second tube", "07:00:00", machine.Tube{Channel: "alk"}},
		{"later test", "11:00:00", ph("07:00:00")},
		{"change", "12:00:00", machine.WaterChange{System: "s", Taken: at("06:30:00"), Litres: 30}},
		{"test from the future", "08:00:00", ph("09:00:00")},
		{"mean", "09:30:00", machine.ProbeMean{Probe: "ph", From: at("05:00:00"), Until: at("08:30:00"), Mean: 8.2, Count: 4}},
		{"past run", "12:00:00", machine.RunPast{Channel: "alk", Happened: at("06:00:00"), Volume: 1, Outcome: machine.Finished}},
	} {
		rows = append(rows, machine.Row{Seq: int64(i) + 1, ID: r.id, At: at(r.at), Body: r.body})
	}
	text := mustWrite(t, rows)
	var got []string
	for line := range strings.Lines(text) {
		var l struct{ ID string }
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatal(err)
		}
		got = append(got, l.ID)
	}
	want := []string{"past run", "change", "tube", "second tube", "late test", "later test", "mean", "test from the future"}
	if !slices.Equal(got, want) {
		t.Fatalf("the lines are %q, want %q", got, want)
	}
	if n := strings.Count(text, `"entered"`); n != 2 {
		t.Fatalf("%d lines say when they were entered, want the two late tests\n%s", n, text)
	}
	if again, _ := mustRead(t, text); mustWrite(t, again) != text {
		t.Fatalf("written a second time it is\n%swas\n%s", mustWrite(t, again), text)
	}
}

func TestTestWithoutAUnitIsWrittenWithTheCanonicalOne(t *testing.T) {
	rows := []machine.Row{{Seq: 1, ID: "a", At: at("07:00:00"), Body: machine.Test{System: "s", Quantity: units.PH, Level: 8.2, Value: 8.2, Taken: at("07:00:00")}}}
	if got := mustWrite(t, rows); !strings.Contains(got, `"value":8.2,"unit":"pH"`) {
		t.Fatalf("written as %s", got)
	}
}

func TestTimesAreWrittenInUTC(t *testing.T) {
	for offset := range 5 {
		zone := time.FixedZone("z"+strconv.Itoa(offset), (offset-2)*5400)
		rows := []machine.Row{{Seq: 1, At: at("07:00:00").In(zone), Body: machine.Tube{Channel: "alk"}}}
		if got := mustWrite(t, rows); got != tubeAt7 {
			t.Fatalf("in %s written as %s", zone, got)
		}
	}
}
