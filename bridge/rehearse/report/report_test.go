package report

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/rehearse"
	"aliquot/safety"
)

var begin = time.Date(2027, 3, 1, 7, 10, 0, 0, time.UTC)

func ref(v float64) *float64 { return &v }

// hostile names would break a page that does not escape them.
const hostile = `<b>"it's" & more</b><script>`

// sample is a small result, with names that nobody should choose.
func sample() rehearse.Result {
	var series []rehearse.Sample
	for i := range 100 {
		level := 8 + 0.3*math.Sin(float64(i)/9)
		s := rehearse.Sample{At: begin.Add(time.Duration(i) * time.Hour), Level: &level, Use: ref(0.7)}
		if i > 3 {
			s.Believed, s.BelievedSD, s.BelievedUse, s.UseSD = ref(level+0.1), ref(0.2), ref(0.6), ref(0.2)
		}
		if i > 3 && i%3 == 0 {
			s.Afterwards, s.AfterwardsSD, s.AfterwardsUse, s.AfterwardsUseSD = ref(level+0.02), ref(0.1), ref(0.68), ref(0.1)
		}
		series = append(series, s)
	}
	at := begin.Add(4 * time.Hour)
	return rehearse.Result{Site: hostile, Zone: "UTC", From: begin, To: begin.Add(99 * time.Hour), Days: 4, Seed: 7, Commissioned: &at,
		Quantities: []rehearse.QuantityResult{{System: hostile, Quantity: "alkalinity", Unit: "dKH", Target: 8, Band: 0.5, InBandPercent: 90, Worst: -0.7, Series: series}},
		Channels:   []rehearse.ChannelResult{{Channel: hostile, PerDayML: 100, LargestML: 60, VolumeML: 90, Days: []rehearse.Portion{{Day: "2027-03-01", ML: 40}, {Day: "2027-03-02", ML: 50}, {Day: "2027-03-03"}}}},
		Containers: []rehearse.ContainerResult{{Container: hostile, CapacityML: 500, StopML: 50, EndML: 400, Series: []rehearse.Point{{At: begin, Value: 500}, {At: at, Value: 400}}}},
		Withheld:   []rehearse.Withheld{{Channel: hostile, Code: safety.NodeOffline, Slots: 3, RanLater: 1, First: at, Text: hostile}},
		Tests: []rehearse.Test{{At: at, System: hostile, Quantity: "alkalinity", Unit: "dKH", Value: 8.1},
			{At: at.Add(time.Hour), System: hostile, Quantity: "alkalinity", Unit: "dKH", Value: 10.2, Expected: ref(8), ExpectedSD: ref(0.2), Held: true},
			{At: at.Add(2 * time.Hour), System: hostile, Quantity: "alkalinity", Unit: "dKH", Value: 143, Expected: ref(8), ExpectedSD: ref(0.2), Held: true}},
		Happened: []rehearse.Remark{{At: at, Text: hostile}}}
}

func replayed() rehearse.Replayed {
	s := sample()
	to := s.To
	r := rehearse.Replayed{Site: hostile, Rows: 9, From: &begin, To: &to, Notes: []string{hostile},
		Quantities: []rehearse.ReplayedQuantity{{System: hostile, Quantity: "alkalinity", Unit: "dKH", Target: 8, Band: 0.5, Tests: 2, Predicted: 1, RMSError: ref(0.2), Within90: ref(100)}}}
	for _, x := range s.Quantities[0].Series {
		x.Level, x.Use = nil, nil
		r.Quantities[0].Series = append(r.Quantities[0].Series, x)
	}
	for _, k := range s.Tests {
		one := rehearse.ReplayedTest{At: k.At, System: k.System, Quantity: k.Quantity, Unit: k.Unit, Value: k.Value, Verdict: "accepted"}
		if k.Expected != nil {
			miss := k.Value - *k.Expected
			one.Predicted, one.PredictedSD, one.Error = k.Expected, k.ExpectedSD, &miss
			one.Verdict, one.Became = "held", "refuted"
		}
		r.Tests = append(r.Tests, one)
	}
	return r
}

func pages(t *testing.T) map[string]string {
	t.Helper()
	var a, b, empty strings.Builder
	if err := errors.Join(Rehearsal(&a, sample(), time.UTC), Replay(&b, replayed(), time.UTC), Rehearsal(&empty, rehearse.Result{}, time.UTC)); err != nil {
		t.Fatal(err)
	}
	return map[string]string{"rehearsal": a.String(), "replay": b.String(), "empty": empty.String()}
}

// The page is well-formed by the strictest reader at hand, has no script and needs nothing from elsewhere.
func TestPageIsWhole(t *testing.T) {
	for name, text := range pages(t) {
		t.Run(name, func(t *testing.T) {
			d := xml.NewDecoder(strings.NewReader(text))
			ids, refs := map[string]bool{}, []string{}
			for {
				token, err := d.Token()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatalf("not well-formed: %v", err)
				}
				e, ok := token.(xml.StartElement)
				if !ok {
					continue
				}
				checkElement(t, e, ids, &refs)
			}
			for _, id := range refs {
				if !ids[id] {
					t.Errorf("something refers to %q, which is not there", id)
				}
			}
			if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
				t.Error("a figure is no number")
			}
			if !strings.Contains(text, "prefers-color-scheme:dark") {
				t.Error("nothing for readers who prefer the dark")
			}
		})
	}
}

func checkElement(t *testing.T, e xml.StartElement, ids map[string]bool, refs *[]string) {
	t.Helper()
	switch e.Name.Local {
	case "script", "link", "img", "iframe", "object", "b", "image", "use":
		t.Errorf("an element %s has no place here", e.Name.Local)
	}
	attributes := map[string]string{}
	for _, a := range e.Attr {
		attributes[a.Name.Local] = a.Value
		if a.Name.Local == "xmlns" {
			continue
		}
		if strings.Contains(a.Value, "//") || strings.HasPrefix(a.Name.Local, "on") {
			t.Errorf("%s has %s=%q", e.Name.Local, a.Name.Local, a.Value)
		}
		switch a.Name.Local {
		case "id":
			if ids[a.Value] {
				t.Errorf("the id %q is there twice", a.Value)
			}
			ids[a.Value] = true
		case "aria-labelledby":
			*refs = append(*refs, strings.Fields(a.Value)...)
		}
	}
	if e.Name.Local == "svg" && attributes["aria-hidden"] == "" && (attributes["role"] != "img" || attributes["aria-labelledby"] == "") {
		t.Errorf("a drawing has no text alternative: %v", e.Attr)
	}
}

func TestSameResultSameBytes(t *testing.T) {
	first := pages(t)
	for range 3 {
		for name, text := range pages(t) {
			if text != first[name] {
				t.Errorf("%s came out differently", name)
			}
		}
	}
}

// Held tests are told by a word beside a shape; one that lies far off does not squash the scale.
func TestHeldTests(t *testing.T) {
	text := pages(t)["rehearsal"]
	for _, want := range []string{`>held</text>`, `held, off the scale: 143</text>`, `class="held"`, "3 tests were entered, 2 of them were held back"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not have %q", want)
		}
	}
	if regexp.MustCompile(`class="label"[^>]*>(40|60|80|100|120)</text>`).MatchString(strings.Split(text, "q0-use")[0]) {
		t.Error("the axis of the levels goes up to the wrong test")
	}
}

// What was known afterwards has a line, a legend and words, where it is known at all.
func TestAfterwards(t *testing.T) {
	all := pages(t)
	for _, name := range []string{"rehearsal", "replay"} {
		text := all[name]
		if got := strings.Count(text, `class="afterwards"`); got != 3 {
			t.Errorf("%s: %d lines of what was known afterwards; want one in each of two plots and one in the legend", name, got)
		}
		for _, want := range []string{"as known afterwards, with later tests too</li>", "As known afterwards, with later tests too, it began at 8.21 and went from 7.72 to 8.32", "began at 0.68 and went from 0.68 to 0.68"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s does not have %q", name, want)
			}
		}
	}
	r := sample()
	for i := range r.Quantities[0].Series {
		r.Quantities[0].Series[i].Afterwards, r.Quantities[0].Series[i].AfterwardsUse = nil, nil
	}
	var b strings.Builder
	if err := Rehearsal(&b, r, time.UTC); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(b.String(), "nown afterwards") || strings.Contains(b.String(), `class="afterwards"`) {
		t.Error("a page says what was known afterwards though nobody asked")
	}
}

// What must be seen at once is said in words.
func TestWords(t *testing.T) {
	r := sample()
	r.Exceeded = []string{"channel alk delivered 120 mL"}
	var b strings.Builder
	if err := Rehearsal(&b, r, time.UTC); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"More was delivered than a cap allows", "channel alk delivered 120 mL", "was inside its band for 90 % of the hours, at worst 0.7 dKH below its target", "the pump node was not there", "no forecast"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(b.String(), "stayed within every cap") {
		t.Error("the page says both that caps were kept and that they were not")
	}
}

func TestFigures(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Level(430.4), "430"}, {Level(8.054), "8.05"}, {Level(0.0512), "0.051"}, {Level(0), "0"}, {Small(12.6), "13"}, {Small(0.256), "0.26"}, {Small(0.2), "0.2"},
		{Signed(0.2), "+0.2"}, {Signed(-0.2), "-0.2"}, {Signed(0), "0"}, {Plain(safety.KeptApart), "it waited for a channel from which it is kept apart"}, {Plain("new_code"), "new code"},
	} {
		if c.got != c.want {
			t.Errorf("%q; want %q", c.got, c.want)
		}
	}
}

func TestThin(t *testing.T) {
	var long []rehearse.Sample
	for i := range 5000 {
		long = append(long, rehearse.Sample{At: begin.Add(time.Duration(i) * time.Hour)})
	}
	short := thin(long)
	if len(short) > 801 || short[0] != long[0] || short[len(short)-1] != long[4999] {
		t.Errorf("%d samples from %s to %s; want at most 801 with both ends", len(short), short[0].At, short[len(short)-1].At)
	}
	if len(thin(long[:800])) != 800 {
		t.Error("a short series was thinned")
	}
}

// The page says what trouble was asked for, and no word of it where there was none.
func TestPageSaysWhatWasAskedFor(t *testing.T) {
	for _, asked := range [][]string{nil, {"holiday 10d@day12", "use-step " + hostile + "@day3"}} {
		r, page := sample(), strings.Builder{}
		r.Asked = asked
		if err := Rehearsal(&page, r, time.UTC); err != nil {
			t.Fatal(err)
		}
		text := page.String()
		if says := strings.Contains(text, "Asked for: holiday 10d@day12; use-step "); says != (asked != nil) || strings.Contains(text, hostile) {
			t.Errorf("asked for %v: the page says so: %v, and escapes it: %v", asked, says, !strings.Contains(text, hostile))
		}
	}
}
