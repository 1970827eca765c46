package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/mqtt/mosquittotest"
)

// barn is an invented farm: many systems, each with a pump board, a channel and as many probes. Half of the probes say a
// number, half a JSON object.
type barn struct {
	systems, probes int
	perDay          string                  // mL of each channel
	slots           func(system int) string // cron; nil: once a day, far away
}

// own and other are topics of probes: those of the site, and as many of which only somebody else hears.
func own(i int) string   { return fmt.Sprintf("barn/own/%05d", i) }
func other(i int) string { return fmt.Sprintf("barn/out/%05d", i) }

// reading is what probe i says the n-th time.
func reading(i, n int) []byte {
	v := 25 + float64(n%50)/100
	if i%2 == 1 {
		return fmt.Appendf(nil, `{"id":%d,"value":%.2f}`, i, v)
	}
	return fmt.Appendf(nil, "%.2f", v)
}

// rig writes the configuration for a broker. What is heard of the site are commands, answers and alerts.
func (b barn) rig(t *testing.T, broker *mosquittotest.Server) *rig {
	t.Helper()
	r := &rig{t: t, broker: broker, quay: quay{Site: "barn", Broker: broker.URL, Ledger: filepath.Join(t.TempDir(), "ledger.db"), now: time.Now()}}
	r.config = writeFile(t, "site.yaml", b.text(r.quay))
	r.spy = join(t, broker, "", "spy", "barn/+/1/run", "barn/+/1/stop", "barn/+/online", r.topic("answer"), r.topic("problem"), r.topic("alert/#"))
	r.keeper = join(t, broker, "", "keeper")
	return r
}

func (b barn) text(q quay) string {
	var o strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&o, format+"\n", args...) }
	each := func(title, format string, args func(n int) []any) {
		say("%s:", title)
		for n := range b.systems {
			say("  "+format, args(n)...)
		}
	}
	one := func(n int) []any { return []any{n} }
	say("site: barn\ntimezone: UTC\nclock: {trust: confirmed}\nmqtt: {broker: %s, prefix: aliquot}\nhttp: {listen: 127.0.0.1:0}\nledger: {path: %s}\nplan: {tick: \"7 * * * *\"}", q.Broker, q.Ledger)
	say("supplements:\n  trace: {strength: {potassium: \"0.001 mg/L per mL in 100 L\"}}")
	each("systems", "s%d: {kind: coral, net_volume: 400 L, salinity: 35 psu, temperature: 25 degC, quantities: {potassium: {target: 400 mg/L, band: 20 mg/L, max_rise: 5 mg/L/day, test: {sd: 10 mg/L, stale_after: 14d}}}}", one)
	each("containers", "jug%d: {supplement: trace, capacity: 2 L, warn: 3d, stop: 50 mL, top_to_outlet: -20 cm}", one)
	each("nodes", `board%d: {style: bounded-run, run: "barn/board%[1]d/{{.Output}}/run", stop: "barn/board%[1]d/{{.Output}}/stop", report: "barn/board%[1]d/{{.Output}}/report", online: {topic: barn/board%[1]d/online, up: "1", down: "0"}}`, one)
	each("channels", `c%d: {system: s%[1]d, container: jug%[1]d, node: board%[1]d, output: 1, nominal_rate: 60 mL/min, line: {bore: 1 mm, length: 0.3 m, lift: 0.2 m, outlet: above_water}, fixed: %[2]s mL/day, slots: "%[3]s", limits: {smallest_run: 0.5 mL, per_run: 8 mL, per_day: 1800 mL, run_time: 10s, rest: 1m}}`,
		func(n int) []any {
			if b.slots == nil {
				return []any{n, "1", q.FarSlot(17)}
			}
			return []any{n, b.perDay, b.slots(n)}
		})
	if b.probes > 0 {
		say("probes:")
	}
	for i := range b.systems * b.probes {
		path := ""
		if i%2 == 1 {
			path = "path: value, "
		}
		say("  p%05d: {system: s%d, topic: %s, %sunit: degC, quantity: temperature, range: 15..35, stale_after: 10m}", i, i/b.probes, own(i), path)
	}
	return o.String()
}

// commission imports a history after which every channel may run.
func (b barn) commission(r *rig) {
	r.t.Helper()
	var o strings.Builder
	at := r.quay.now.Add(-time.Hour).UTC().Format(time.RFC3339)
	for n := range b.systems {
		fmt.Fprintf(&o, `{"time":%q,"type":"refill","container":"jug%d","volume_ml":2000}`+"\n", at, n)
		fmt.Fprintf(&o, `{"time":%q,"type":"primed","channel":"c%d"}`+"\n", at, n)
		fmt.Fprintf(&o, `{"time":%q,"type":"calibration","channel":"c%d","trials":[{"seconds":30,"measured_ml":30},{"seconds":30,"measured_ml":30},{"seconds":30,"measured_ml":30}]}`+"\n", at, n)
	}
	must(r.t, "import", "-c", r.config, writeFile(r.t, "history.jsonl", o.String()))
}

// serve starts the service and waits until it may dose.
func (b barn) serve(r *rig) *process {
	r.t.Helper()
	p := r.daemon("")
	p.await("this instance owns the site")
	return p
}

// taken is how many messages of probes the service has taken so far: readings that its machine counted, and those that it
// counted as dropped because they came too fast.
func (p *process) taken() (read, dropped int) {
	p.t.Helper()
	scrape := p.metrics()
	for line := range strings.Lines(scrape) {
		var v float64
		if !strings.HasPrefix(line, "aliquot_probe_readings_total{") {
			continue
		}
		if _, err := fmt.Sscanf(line[strings.LastIndex(line, " "):], "%g", &v); err != nil {
			p.t.Fatal(err)
		}
		read += int(v)
	}
	return read, int(value(p.t, scrape, `aliquot_messages_dropped_total{site="barn"}`)) + int(value(p.t, scrape, `aliquot_problems_total{code="too_many"}`))
}
