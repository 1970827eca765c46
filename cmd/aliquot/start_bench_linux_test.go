package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// BenchmarkStart opens and folds an invented ledger as a start of the service does: a year of four channels with 25 runs a day
// each, and thirty days of ten systems with four channels of 100 runs a day each.
func BenchmarkStart(b *testing.B) {
	until := time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)
	b.Run("year-of-one", func(b *testing.B) {
		q := quay{Site: "aged", Broker: "mqtt://127.0.0.1:1", Ledger: filepath.Join(b.TempDir(), "ledger.db"), AlkPerDay: "40 mL",
			TracePerDay: "2", TraceCap: "1800 mL", TraceSlots: "37 3 * * *", now: until}
		benchmarkStart(b, q.write(b, "site.yaml"), agedLedger(b, q.Ledger, until, 365))
	})
	b.Run("month-of-ten", func(b *testing.B) {
		site, a := agedFarm(b, 10)
		benchmarkStart(b, site.file, a.fill(b, site.ledger, until, 30))
	})
}

func benchmarkStart(b *testing.B, config string, rows int64) {
	l, err := load(config)
	if err != nil {
		b.Fatal(err)
	}
	worked := processor(b)
	for b.Loop() {
		book, _, _, err := openBook(serviceOptions{site: l})
		if err != nil {
			b.Fatal(err)
		}
		if err := book.Close(); err != nil {
			b.Fatal(err)
		}
	}
	worked = processor(b) - worked
	all := float64(b.N) * float64(rows)
	b.ReportMetric(float64(b.Elapsed().Microseconds())/all, "µs/row")
	b.ReportMetric(float64(worked.Microseconds())/all, "processor-µs/row")
	b.ReportMetric(float64(rows), "rows")
}

// processor is for how long it has worked for this process.
func processor(t testing.TB) time.Duration {
	t.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

type agedSite struct{ file, ledger string }

// agedFarm is a site of so many systems of four channels with 100 runs a day each, and what writes its ledger.
func agedFarm(t testing.TB, systems int) (agedSite, aged) {
	t.Helper()
	site := agedSite{ledger: filepath.Join(t.TempDir(), "ledger.db")}
	a := aged{runs: 100}
	var waters, jugs, boards, channels strings.Builder
	for n := range systems {
		id := func(what string) string { return fmt.Sprintf("%s-%d", what, n) }
		a.systems = append(a.systems, id("rack"))
		fmt.Fprintf(&waters, "  %s:\n    kind: coral\n    net_volume: 400 L\n    salinity: 35 psu\n    temperature: 25 degC\n    quantities:\n      alkalinity: {target: 8.0 dKH, max_rise: 0.6 dKH/day, test: {sd: 0.15 dKH}}\n", id("rack"))
		fmt.Fprintf(&boards, "  %[1]s:\n    style: bounded-run\n    run: %[1]s/{{.Output}}/run\n    stop: %[1]s/{{.Output}}/stop\n    report: %[1]s/{{.Output}}/report\n    online: {topic: %[1]s/online, up: \"1\", down: \"0\"}\n", id("board"))
		for i, what := range []string{"alk", "trace", "iodine", "extra"} {
			c := agedChannel{id(what), id(what + "-jug"), id("board"), i + 1}
			a.channels = append(a.channels, c)
			supplement, dose := "trace", "fixed: 2 mL/day"
			if i == 0 {
				supplement, dose = "carbonate", "follow: alkalinity"
			}
			fmt.Fprintf(&jugs, "  %s: {supplement: %s, capacity: 2 L, warn: 3d, stop: 50 mL, top_to_outlet: -20 cm}\n", c.container, supplement)
			fmt.Fprintf(&channels, "  %s:\n    system: %s\n    container: %s\n    node: %s\n    output: %d\n    nominal_rate: 60 mL/min\n    line: {bore: 1 mm, length: 0.3 m, lift: 0.2 m, outlet: above_water, siphon_break: true}\n    %s\n    slots: \"%d * * * *\"\n    limits: {smallest_run: 1 mL, per_run: 4 mL, per_day: 140 mL, run_time: 10s, rest: 1m}\n    attended: {per_run: 30 mL, per_day: 300 mL}\n",
				c.channel, id("rack"), c.container, c.node, c.output, dose, 10*i)
		}
	}
	site.file = writeFile(t, "farm.yaml", fmt.Sprintf("site: racks\ntimezone: UTC\nclock: {trust: confirmed}\nmqtt: {broker: mqtt://127.0.0.1:1, prefix: aliquot}\nhttp: {listen: 127.0.0.1:0}\nledger: {path: %s}\n"+
		"plan: {tick: \"7 * * * *\"}\nsystems:\n%ssupplements:\n  carbonate: {solution: {sodium carbonate: 60 g/L}}\n  trace: {strength: {potassium: \"0.001 mg/L per mL in 100 L\"}}\ncontainers:\n%snodes:\n%schannels:\n%s",
		site.ledger, &waters, &jugs, &boards, &channels))
	return site, a
}
