package topics

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics/payload"
	"aliquot/safety"

	"pgregory.net/rapid"
)

func TestOwnerRecord(t *testing.T) {
	want := machine.OwnerSeen{Instance: "i-7f3a", Epoch: 12, At: at(9, 0)}
	m := shed.RenderOwner(machine.WriteOwner{Instance: "i-7f3a", Epoch: 12, At: at(9, 0)})
	got, err := ParseOwner(m.Payload)
	if err != nil || got != want {
		t.Errorf("%s reads %+v, %v; want %+v", m.Payload, got, err, want)
	}
	if got, err := ParseOwner(nil); err != nil || !got.Gone {
		t.Errorf("an empty record reads %+v, %v; want gone", got, err)
	}
	for in, text := range map[string]string{
		"x": "not valid JSON", "{}": `"epoch" is missing`, `{"instance":"a","epoch":1}`: `"instance" and "at" are needed`,
		`{"epoch":1,"at":"2027-03-02T09:00:00Z"}`: `"instance" and "at" are needed`, `{"instance":5,"epoch":1}`: "must be a text",
		`{"instance":"a","epoch":-1}`: "whole number", `{"instance":"a","epoch":1,"at":"now"}`: "date, time and offset",
	} {
		if got, err := ParseOwner([]byte(in)); err == nil || !strings.Contains(err.Error(), text) || got != (machine.OwnerSeen{}) {
			t.Errorf("ParseOwner(%s) = %+v, %v; want an error with %q", in, got, err, text)
		}
	}
}

func TestReadings(t *testing.T) {
	for _, c := range []struct {
		name, in string
		spec     ReadingSpec
		want     float64
		code     safety.Code // empty: accepted
		text     string
	}{
		{"plain", "8.21", ReadingSpec{}, 8.21, "", ""},
		{"with white space", " 8.21\r\n", ReadingSpec{}, 8.21, "", ""},
		{"exponent", "1e-2", ReadingSpec{}, 0.01, "", ""},
		{"JSON number is a plain number too", "25", ReadingSpec{}, 25, "", ""},
		{"path", `{"t":{"value":25.5}}`, ReadingSpec{Path: "t.value"}, 25.5, "", ""},
		{"path, in quotes", `{"t":"25.5"}`, ReadingSpec{Path: "t"}, 25.5, "", ""},
		{"comma", "8,21", ReadingSpec{}, 0, safety.NotANumber, "use a point"},
		{"comma in quotes", `{"t":"8,21"}`, ReadingSpec{Path: "t"}, 0, safety.NotANumber, "use a point"},
		{"NaN H-32", "nan", ReadingSpec{}, 0, safety.NotANumber, "no measurement"},
		{"minus infinity", "-Inf", ReadingSpec{}, 0, safety.NotANumber, "no measurement"},
		{"too large", "1e999", ReadingSpec{}, 0, safety.NotANumber, "plain number"},
		{"hexadecimal", "0x1F", ReadingSpec{}, 0, safety.NotANumber, "plain number"},
		{"with a unit", "8.21 pH", ReadingSpec{}, 0, safety.NotANumber, "without a unit"},
		{"words", "error", ReadingSpec{}, 0, safety.NotANumber, "plain number"},
		{"empty", "", ReadingSpec{}, 0, safety.NotANumber, "it is empty"},
		{"null", `{"t":null}`, ReadingSpec{Path: "t"}, 0, safety.NotANumber, "is null"},
		{"flag", `{"t":true}`, ReadingSpec{Path: "t"}, 0, safety.NotANumber, "is true"},
		{"nothing there", `{"x":1}`, ReadingSpec{Path: "t"}, 0, safety.BadPayload, `nothing at "t"`},
		{"object there", `{"t":{}}`, ReadingSpec{Path: "t"}, 0, safety.BadPayload, "plain value"},
		{"not JSON", `8.21`, ReadingSpec{Path: "t"}, 0, safety.BadPayload, `nothing at "t"`},
		{"JSON without a path", `{"t":1}`, ReadingSpec{}, 0, safety.NotANumber, "plain number"},
		{"too long H-38", strings.Repeat("8", 4097), ReadingSpec{}, 0, safety.TooLarge, "at most 4096"},
		{"no UTF-8 H-38", "\xff", ReadingSpec{}, 0, safety.BadPayload, "UTF-8"},
		{"on", "wet", ReadingSpec{On: "wet", Off: "dry"}, 1, "", ""},
		{"off", "dry\n", ReadingSpec{On: "wet", Off: "dry"}, 0, "", ""},
		{"on at a path", `{"leak":true}`, ReadingSpec{Path: "leak", On: "true", Off: "false"}, 1, "", ""},
		{"neither", "damp", ReadingSpec{On: "wet", Off: "dry"}, 0, safety.BadPayload, `"wet" or "dry" was expected`},
		{"on in another case", "WET", ReadingSpec{On: "wet", Off: "dry"}, 0, safety.BadPayload, "was expected"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseReading([]byte(c.in), c.spec)
			if c.code == "" {
				if err != nil || got != c.want {
					t.Fatalf("ParseReading = %+v, %v; want %v", got, err, c.want)
				}
				return
			}
			var e *payload.Error
			if !errors.As(err, &e) || e.Code != c.code || !strings.Contains(e.Text, c.text) {
				t.Fatalf("ParseReading = %+v, %v; want %s with %q", got, err, c.code, c.text)
			}
			if got != 0 {
				t.Errorf("refused and still %v", got)
			}
		})
	}
	if _, err := ParseReading([]byte("dam\x01p"), ReadingSpec{}); err == nil || !strings.Contains(err.Error(), `dam\x01p`) {
		t.Errorf("error %q; want it safe to print", err)
	}
}

// An accepted reading is finite and reads the same when written again.
func FuzzReading(f *testing.F) {
	for _, seed := range []string{"8.21", "8,21", "NaN", `{"t":8.21}`, `{"t":"wet"}`, "1e999", "−3", "\xff"} {
		f.Add([]byte(seed), "")
		f.Add([]byte(seed), "t")
	}
	f.Fuzz(func(t *testing.T, in []byte, path string) {
		r, err := ParseReading(in, ReadingSpec{Path: path})
		if err != nil {
			if r != 0 || strings.ContainsAny(err.Error(), "\n\x1b") {
				t.Fatalf("%q: %v with %+v", in, err, r)
			}
			return
		}
		if math.IsNaN(r) || math.IsInf(r, 0) || math.Signbit(r) && r == 0 {
			t.Fatalf("%q reads %v", in, r)
		}
		if again, err := ParseReading(fmt.Appendf(nil, "%v", r), ReadingSpec{}); err != nil || again != r {
			t.Fatalf("%q reads %v, again %v, %v", in, r, again, err)
		}
	})
}

func TestLimiter(t *testing.T) {
	var l Limiter
	for i := range Burst {
		if !l.Allow("a", time.Hour) {
			t.Fatalf("message %d of a burst of %d is refused", i+1, Burst)
		}
	}
	if l.Allow("a", time.Hour) {
		t.Error("one more than the burst is allowed")
	}
	if !l.Allow("b", time.Hour) {
		t.Error("another topic suffers")
	}
	if l.Allow("a", time.Hour+49*time.Millisecond) {
		t.Error("a message before 1/20 s is allowed")
	}
	if !l.Allow("a", time.Hour+51*time.Millisecond) {
		t.Error("a message after 1/20 s is refused")
	}
	if l.Allow("a", time.Minute) {
		t.Error("time that goes back fills the bucket")
	}
}

func TestLimiterForgetsIdleTopicsAndBoundsStrangers(t *testing.T) {
	var l Limiter
	for i := range MostBuckets {
		l.Allow(fmt.Sprintf("t%d", i), 0)
	}
	allowed := 0
	for i := range 10_000 {
		if l.Allow(fmt.Sprintf("stranger%d", i), 0) {
			allowed++
		}
	}
	if allowed != Burst || len(l.buckets) != MostBuckets {
		t.Errorf("10000 new topics at once: %d allowed, %d followed; want %d and %d", allowed, len(l.buckets), Burst, MostBuckets)
	}
	if !l.Allow("late", time.Minute) || len(l.buckets) != 1 {
		t.Errorf("after a minute %d topics are followed; want the idle ones forgotten", len(l.buckets))
	}
}

func TestLimiterKeepsTopicsApart(t *testing.T) {
	var l Limiter
	kept := make([]string, 3*MostBuckets)
	for i := range kept {
		kept[i] = fmt.Sprintf("kept%d", i)
	}
	l.Keep(kept...)
	for i := range 10_000 {
		l.Allow(fmt.Sprintf("stranger%d", i), 0)
	}
	for _, topic := range kept {
		for i := range Burst {
			if !l.Allow(topic, 0) {
				t.Fatalf("message %d of a burst of %d on %s is refused", i+1, Burst, topic)
			}
		}
		if l.Allow(topic, 0) {
			t.Fatalf("one more than the burst is allowed on %s", topic)
		}
	}
}

// Whatever the pattern, no topic gets more than the burst plus 20 a second in any span.
func TestLimiterNeverExceedsItsRate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l Limiter
		if rapid.Bool().Draw(t, "kept") {
			l.Keep("a")
		}
		var now time.Duration
		var taken []time.Duration
		for _, gap := range rapid.SliceOfN(rapid.IntRange(0, 200), 1, 400).Draw(t, "gaps") {
			now += time.Duration(gap) * time.Millisecond
			if l.Allow("a", now) {
				taken = append(taken, now)
			}
		}
		for i := range taken {
			for j := i; j < len(taken); j++ {
				if most := Burst + PerSecond*(taken[j]-taken[i]).Seconds() + 1e-6; float64(j-i+1) > most {
					t.Fatalf("%d messages in %v; at most %v", j-i+1, taken[j]-taken[i], most)
				}
			}
		}
	})
}

func TestSuggest(t *testing.T) {
	all := []string{"volume_ml", "remaining_ml", "container", "full", "by"}
	for word, want := range map[string]string{
		"volume": "volume_ml", "Volume-ML": "volume_ml", "volume_l": "volume_ml", "contianer": "container", "ful": "full", "xyz": "", "": "",
		strings.Repeat("v", 100): "",
	} {
		got := suggest(word, all)
		if want == "" && got != "" || want != "" && got != `: did you mean "`+want+`"?` {
			t.Errorf("suggest(%q) = %q; want %q", word, got, want)
		}
	}
}
