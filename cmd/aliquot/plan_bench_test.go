package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// planFrom is when the histories of these tests end.
var planFrom = time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)

// sixChannelYears is an invented history of sixChannelSite: 30,000 runs and 350 tests in each year of 365 days.
func sixChannelYears(years int) []byte {
	channels, containers, system := []string{"alk", "ca", "mg", "a", "b", "c"}, []string{"carbonate-can", "calcium-can", "magnesium-can"}, "reef"
	runs, tests := 30_000*years, 350*years
	start := planFrom.AddDate(0, 0, -365*years)
	span := planFrom.Sub(start)
	var b bytes.Buffer
	line := func(at time.Time, format string, args ...any) {
		fmt.Fprintf(&b, `{"time":"%s",`+format+"}\n", append([]any{at.Format(time.RFC3339)}, args...)...)
	}
	refill := func(at time.Time) {
		for _, c := range containers {
			line(at, `"type":"refill","container":"%s","volume_ml":0,"remaining_ml":1500`, c)
		}
	}
	refill(start)
	for _, c := range channels {
		line(start, `"type":"primed","channel":"%s"`, c)
		line(start, `"type":"calibration","channel":"%s","trials":[{"seconds":60,"measured_ml":9.8},{"seconds":60,"measured_ml":9.9},{"seconds":60,"measured_ml":9.8}]`, c)
	}
	n := 0
	for i := range runs {
		at := start.Add(span / time.Duration(runs) * time.Duration(i+1)).Truncate(time.Second)
		for ; n < tests && start.Add(span/time.Duration(tests)*time.Duration(n)).Before(at); n++ {
			quantity, value, unit := "alkalinity", 8.1+.1*float64(n%3), "dKH"
			if n%4 == 3 {
				quantity, value, unit = "calcium", 425+float64(n%5), "mg/L"
			}
			line(start.Add(span/time.Duration(tests)*time.Duration(n)), `"type":"test","system":"%s","quantity":"%s","value":%.2f,"unit":"%s"`, system, quantity, value, unit)
		}
		if i%1000 == 0 {
			refill(at)
		}
		line(at, `"type":"run","channel":"%s","volume_ml":%.3f,"outcome":"finished"`, channels[i%len(channels)], .9+.1*float64(i%3))
	}
	return b.Bytes()
}

// BenchmarkPlan is `aliquot plan` for six channels with two years of history but for the start of the process: the
// configuration is read, the history too, folded and planned from.
func BenchmarkPlan(b *testing.B) {
	name := sixChannelSite(b)
	text := sixChannelYears(2)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		l, err := load(name)
		if err != nil {
			b.Fatal(err)
		}
		past, notes, err := gatherHistory(l, bytes.NewReader(text), "h.jsonl", func() *past { return newPast(l, planFrom) })
		if err != nil {
			b.Fatal(err)
		}
		if v := past.plan(notes); len(v.Runs) == 0 {
			b.Fatalf("%d runs, %v, %+v", len(v.Runs), err, v.Withheld)
		}
	}
}

// sixChannelSite is the site of a Pi with three more channels.
func sixChannelSite(b testing.TB) string {
	text, err := os.ReadFile("../../deploy/sites/pi.yaml")
	if err != nil {
		b.Fatal(err)
	}
	more := ""
	for i, id := range []string{"a", "b", "c"} {
		more += fmt.Sprintf(`  %s:
    system: reef
    container: magnesium-can
    node: board
    output: %d
    nominal_rate: 8 mL/min
    line: {bore: 3 mm, length: 1.8 m, lift: 0.9 m, outlet: above_water, siphon_break: true}
    fixed: 2 mL/day
    slots: "%d %d * * *"
    limits: {per_run: 6 mL, per_day: 15 mL, run_time: 60s}
    attended: {per_run: 30 mL, per_day: 200 mL}
`, id, 4+i, 15+6*i, 13+i)
	}
	name := filepath.Join(b.TempDir(), "site.yaml")
	if err := os.WriteFile(name, bytes.Replace(text, []byte("\nkeep_apart:"), []byte("\n"+more+"\nkeep_apart:"), 1), 0o600); err != nil {
		b.Fatal(err)
	}
	return name
}
