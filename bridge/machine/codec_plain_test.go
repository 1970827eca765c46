package machine

import (
	"bytes"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/safety"
)

// plainKinds are those that are read without the parser.
var plainKinds = []string{"run_reserved", "run_ended", "probe"}

// drawPlain draws a body as the ledger has so many.
func drawPlain(t *rapid.T) Body {
	word := rapid.StringMatching(`[ !#-%'-;=?-\[\]-~]{0,12}`)
	whole := rapid.OneOf(rapid.Int64Range(-5, 5000), rapid.Int64Range(-999_999_999_999_999_999, 999_999_999_999_999_999))
	ul := func(name string) safety.Microlitres { return safety.Microlitres(whole.Draw(t, name)) }
	ms := func(name string) safety.Milliseconds { return safety.Milliseconds(whole.Draw(t, name)) }
	at := func(name string) time.Time {
		return time.Unix(rapid.Int64Range(0, 4e9).Draw(t, name), rapid.SampledFrom([]int64{0, 5, 500_000_000, 999_999_999}).Draw(t, name+" ns")).
			In(rapid.SampledFrom([]*time.Location{time.UTC, time.FixedZone("", 5400)}).Draw(t, name+" zone"))
	}
	switch rapid.SampledFrom(plainKinds).Draw(t, "kind") {
	case "run_reserved":
		return RunReserved{Run: word.Draw(t, "run"), Channel: word.Draw(t, "channel"), Container: word.Draw(t, "container"), Node: word.Draw(t, "node"),
			Output: int(rapid.Int32().Draw(t, "output")), Serial: whole.Draw(t, "serial"), Purpose: rapid.SampledFrom([]Purpose{"", Dose, Prime, Calibrate, Manual, TestRun, Prove}).Draw(t, "purpose"),
			Into: rapid.SampledFrom([]Into{"", IntoTank, IntoVessel}).Draw(t, "into"), Slot: word.Draw(t, "slot"), Volume: ul("volume"), Duration: ms("duration"),
			Longest: ms("longest"), Worst: ul("worst"), Tolerance: safety.Tolerance(rapid.Int32().Draw(t, "tolerance")), Rate: safety.Rate(whole.Draw(t, "rate")),
			Offset: ul("offset"), RunsOn: ul("runs on"), CarryNL: whole.Draw(t, "carry"), DayVolume: ul("day")}
	case "run_ended":
		return RunEnded{Run: word.Draw(t, "run"), Outcome: rapid.SampledFrom([]Outcome{"", Finished, Partial, Unknown, NotSent, Refused, Extra}).Draw(t, "outcome"),
			Duration: ms("duration"), Hi: ul("hi"), Lo: ul("lo"), Reason: word.Draw(t, "reason")}
	}
	return ProbeMean{Probe: word.Draw(t, "probe"), From: at("from"), Until: at("until"), Mean: rapid.Float64Range(-1e15, 1e15).Draw(t, "mean"), Count: int(rapid.Int32().Draw(t, "count"))}
}

// What EncodeBody writes of common rows is read without the parser, and as the parser reads it. A change of the form that were
// forgotten in one of the two would make a start slow without a word, or wrong.
func TestPlainBodiesAreTheParsers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawPlain(t)
		text, err := EncodeBody(b)
		if err != nil {
			t.Fatal(err)
		}
		got, ok := plainBody(b.Kind(), string(text))
		if m, isMean := b.(ProbeMean); isMean && !ok && strings.Contains(string(text), "e-") && m.Mean < 1e-6 {
			return // so small a mean has an exponent
		}
		want, err := decoders[b.Kind()](text)
		if err != nil || !ok || !reflect.DeepEqual(got, want) {
			t.Fatalf("%s: %+v, %v; the parser says %+v, %v", text, got, ok, want, err)
		}
	})
}

// Whatever is done to such a text: what is still taken without the parser is what the parser makes of it.
func TestSpoiltPlainBodiesAreTheParsers(t *testing.T) {
	pieces := []string{"0", "-", "1", ".", "e", "+", ",", ":", `"`, `\`, "{", "}", " ", "\n", "\x00", "\x7f", "\u00e9", "\xff", "null", `,"run":"x"`, `\u0041`, "000000000000000000"}
	rapid.Check(t, func(t *rapid.T) {
		b := drawPlain(t)
		text, err := EncodeBody(b)
		if err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(1, 3).Draw(t, "changes") {
			from := rapid.IntRange(0, len(text)).Draw(t, "from")
			if next := bytes.IndexByte(text[from:], ':'); next >= 0 && rapid.Bool().Draw(t, "at a value") {
				from += next + 1
			}
			to := min(len(text), from+rapid.IntRange(0, 2).Draw(t, "gone"))
			text = slices.Concat(text[:from], []byte(rapid.SampledFrom(pieces).Draw(t, "put in")), text[to:])
		}
		comparePlain(t, b.Kind(), text)
	})
}

// Every way to write a number, right or wrong.
func TestPlainNumbersAreTheParsers(t *testing.T) {
	for _, n := range []string{"", "0", "-0", "7", "-7", "00", "07", "-07", "-", "+7", ".5", "5.", "0.5", "-0.5", "00.5", "1.5.5", "1e2", "1E2", "0x7", "1_0", " 7", "7 ", "9223372036854775807", "9223372036854775808",
		"999999999999999999", "0999999999999999999", "1.0", "1234567890123456789.5", "NaN", "null", `"7"`} {
		comparePlain(t, "run_ended", []byte(`{"run":"r","outcome":"finished","hi_ul":`+n+`,"lo_ul":1}`))
		comparePlain(t, "run_ended", []byte(`{"run":"r","outcome":"finished","hi_ul":1,"lo_ul":`+n+`}`))
		comparePlain(t, "probe", []byte(`{"probe":"p","from":"2027-03-01T00:00:00Z","until":"2027-03-01T00:00:00Z","mean":`+n+`,"count":1}`))
		comparePlain(t, "probe", []byte(`{"probe":"p","from":"2027-03-01T00:00:00Z","until":"2027-03-01T00:00:00Z","mean":1,"count":`+n+`}`))
	}
}

func FuzzPlainBody(f *testing.F) {
	for _, b := range []Body{RunReserved{Run: "r", Purpose: Dose, Into: IntoTank, Slot: "s", Offset: -5, RunsOn: 1}, RunEnded{Run: "r", Outcome: Finished, Duration: 3, Reason: "x"}, ProbeMean{Probe: "p", Mean: -8.25, Count: 3}} {
		text, err := EncodeBody(b)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b.Kind(), string(text))
	}
	f.Fuzz(func(t *testing.T, kind, text string) { comparePlain(t, kind, []byte(text)) })
}

func comparePlain(t interface{ Fatalf(string, ...any) }, kind string, text []byte) {
	got, ok := plainBody(kind, string(text))
	if !ok {
		return
	}
	if want, err := decoders[kind](text); err != nil || !reflect.DeepEqual(got, want) {
		t.Fatalf("%s %q: %+v; the parser says %+v, %v", kind, text, got, want, err)
	}
}
