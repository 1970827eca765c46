package history

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// contract is the table of line types as it is promised: a field with a question mark may be left out.
var contract = map[string]string{
	"test":                "system quantity value unit method? lot? of? stated? entered? temperature?",
	"run":                 "channel volume_ml outcome seconds? delivered_ml? purpose? into?",
	"calibration":         "channel trials",
	"primed":              "channel",
	"tube":                "channel",
	"refill":              "container volume_ml remaining_ml?",
	"swap":                "container volume_ml supplement remaining_ml?",
	"water_change":        "system volume_l mix? until?",
	"salinity_correction": "system volume_l? value? unit?",
	"hold":                "channel? system? node? reason? until",
	"release":             "channel? system? node? reason? until?",
	"out_of_service":      "channel? system? node? reason? until?",
	"lockout":             "channel? system? node? reason until?",
	"cleared":             "channel? system? node? reason until?",
	"self_stop_proof":     "channel? system? node? reason? until?",
	"accepted":            "channel? system? node? reason until?",
	"probe":               "probe value unit",
	"note":                "system kind text?",
}

// sample is a good value of each field.
var sample = map[string]any{
	"entered": "2027-03-01T08:00:00Z", "until": "2027-03-01T09:00:00Z", "id": "x1", "by": "Ines", "system": "nursery", "channel": "alk",
	"node": "board", "container": "jug", "supplement": "carbonate", "probe": "ph", "quantity": "pH", "unit": "pH", "of": "tank", "method": "strip",
	"lot": "7", "stated": 8.4, "outcome": "finished", "purpose": "dose", "into": "tank", "kind": "other", "reason": "fault", "text": "t", "value": 8.1,
	"volume_ml": 2.5, "remaining_ml": 3.5, "seconds": 12.5, "delivered_ml": 2.25, "volume_l": 30.5,
	"trials":      []any{map[string]any{"seconds": 60.0, "measured_ml": 9.8}},
	"mix":         map[string]any{"calcium": map[string]any{"value": 430.0, "unit": "mg/L"}},
	"temperature": map[string]any{"value": 24.5, "unit": "degC"},
}

// needed gives the least line of a type, and which further fields it may have.
func needed(name string) (line map[string]any, may []string) {
	line = map[string]any{"time": "2027-03-01T07:00:00Z", "type": name}
	for f := range strings.FieldsSeq(contract[name]) {
		if optional, ok := strings.CutSuffix(f, "?"); ok {
			may = append(may, optional)
		} else {
			line[f] = sample[f]
		}
	}
	switch name { // needs one of several
	case "salinity_correction":
		line["volume_l"] = sample["volume_l"]
	case "self_stop_proof":
		line["node"] = sample["node"]
	}
	return line, append(may, "id", "by")
}

func encoded(line map[string]any) string {
	text, err := json.Marshal(line)
	if err != nil {
		panic(err)
	}
	return string(text)
}

func TestFieldsOfEveryType(t *testing.T) {
	if got, want := slices.Sorted(maps.Keys(kinds)), slices.Sorted(maps.Keys(contract)); !slices.Equal(got, want) {
		t.Fatalf("types are %v, promised are %v", got, want)
	}
	if len(sample) != int(fields)-2 {
		t.Fatalf("%d samples; want one for each field but time and type", len(sample))
	}
	for name := range contract {
		base, may := needed(name)
		mustRead(t, encoded(base))
		for f := range base {
			if f == "node" || f == "volume_l" && name == "salinity_correction" {
				continue // one of several
			}
			less := maps.Clone(base)
			delete(less, f)
			want := name + " needs " + f
			if f == "time" || f == "type" {
				want = f + " is missing"
			}
			readError(t, encoded(less), want)
		}
		for f, v := range sample {
			more := maps.Clone(base)
			more[f] = v
			if _, has := base[f]; !has && !slices.Contains(may, f) {
				readError(t, encoded(more), fmt.Sprintf("%s has no field %q", name, f))
				continue
			}
			// Two fields that exclude each other are judged later, by what they mean.
			if _, _, err := site.Read(strings.NewReader(encoded(more)), "h.jsonl"); err != nil && strings.Contains(err.Error(), "has no field") {
				t.Errorf("%s with %s: %v", name, f, err)
			}
		}
	}
}

// reference reads the numbers of a run, refill or swap line with the standard library and plain arithmetic.
type reference struct {
	Type, Channel, Container, Supplement, Outcome, Purpose, Into string
	VolumeML                                                     float64  `json:"volume_ml"`
	Seconds                                                      *float64 `json:"seconds"`
	DeliveredML                                                  *float64 `json:"delivered_ml"`
	RemainingML                                                  *float64 `json:"remaining_ml"`
}

// up and down round to thousandths; a number that is one within a millionth of a thousandth is taken as that.
func up(v float64) int64   { return int64(math.Ceil(v*1000 - 1e-6)) }
func down(v float64) int64 { return int64(math.Floor(v*1000 + 1e-6)) }

func (r reference) body() machine.Body {
	optional := func(v *float64, round func(float64) int64) *safety.Microlitres {
		if v == nil {
			return nil
		}
		return µl(safety.Microlitres(round(*v)))
	}
	switch r.Type {
	case "run":
		b := machine.RunPast{Channel: r.Channel, Happened: at("07:00:00"), Volume: safety.Microlitres(up(r.VolumeML)), Outcome: machine.Outcome(r.Outcome),
			Purpose: machine.Purpose(r.Purpose), Into: machine.Into(r.Into), Delivered: optional(r.DeliveredML, up)}
		if r.Seconds != nil {
			b.Duration = safety.Milliseconds(up(*r.Seconds))
		}
		if b.Purpose == "" {
			b.Purpose = machine.Dose
		}
		if b.Into == "" {
			b.Into = machine.IntoTank
		}
		return b
	case "refill":
		return machine.Refill{Container: r.Container, Added: safety.Microlitres(down(r.VolumeML)), Remaining: optional(r.RemainingML, down)}
	}
	b := machine.Swap{Container: r.Container, Supplement: r.Supplement, Remaining: safety.Microlitres(down(r.VolumeML))}
	if r.RemainingML != nil {
		b.Remaining = safety.Microlitres(down(*r.RemainingML))
	}
	return b
}

func TestVolumesAgreeWithTheStandardLibrary(t *testing.T) {
	quantity := rapid.OneOf(rapid.Float64Range(0.001, 10_000), rapid.Map(rapid.IntRange(1, 9_999_999), func(n int) float64 { return float64(n) / 1000 }))
	rapid.Check(t, func(t *rapid.T) {
		line, may := needed(rapid.SampledFrom([]string{"run", "refill", "swap"}).Draw(t, "type"))
		for _, f := range may {
			if rapid.Bool().Draw(t, f) {
				line[f] = sample[f]
			}
		}
		for _, f := range []string{"volume_ml", "remaining_ml", "delivered_ml", "seconds"} {
			if _, has := line[f]; has {
				line[f] = quantity.Draw(t, "of "+f)
			}
		}
		text := encoded(line)
		if rapid.Bool().Draw(t, "exponent") {
			text = strings.Replace(text, ":"+fmt.Sprint(line["volume_ml"])+",", fmt.Sprintf(":%.17e,", line["volume_ml"]), 1)
		}
		var r reference
		if err := json.Unmarshal([]byte(text), &r); err != nil {
			t.Fatal(err)
		}
		rows, err := Decode([]byte(text), 1)
		if err != nil || len(rows) != 1 || !reflect.DeepEqual(rows[0].Body, r.body()) {
			t.Fatalf("%s\nreads %+v, %v\nwant  %+v", text, rows, err, r.body())
		}
	})
}
