//go:build long

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/web"
	"aliquot/safety"
)

// TestPageInABrowser looks at the status page in a real Chromium, narrow and wide, by day and by night: the demo's, one of a
// site where everything is wrong, one of a first day, and one of many systems. HOUSE_PICTURES is where the pictures go.
func TestPageInABrowser(t *testing.T) {
	pictures := os.Getenv("HOUSE_PICTURES")
	if pictures == "" {
		pictures = t.TempDir()
	}
	demo := start(t, "the demo", "", "demo")
	pages := []string{"demo=" + demoPage(t, demo)}
	for name, v := range map[string]machine.SiteView{"wrong": wrongSite(), "first-day": firstDay(), "many": manySystems(10)} {
		pages = append(pages, name+"="+served(t, v))
	}
	look := exec.Command("node", append([]string{"testdata/look.cjs", pictures}, pages...)...)
	look.Stderr = os.Stderr
	out, err := look.Output()
	if err != nil {
		t.Fatalf("looking at the pages: %v\n%s", err, out)
	}
	var found []struct{ Where, Kind, Text string }
	if err := json.Unmarshal(out, &found); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for _, f := range found {
		t.Errorf("%s: %s: %s", f.Where, f.Kind, f.Text)
	}
}

// demoPage waits until the demo's page shows its day.
func demoPage(t *testing.T, p *process) string {
	t.Helper()
	p.await("http://127.0.0.1:")
	_, rest, _ := strings.Cut(p.out.text(), "http://127.0.0.1:")
	at := "http://127.0.0.1:" + strings.Fields(rest)[0]
	for began := time.Now(); time.Since(began) < 3*patience; <-time.After(time.Second) {
		resp, err := http.Get(at)
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(resp.Body)
		_ = resp.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		if body := string(b); strings.Contains(body, `class="given"`) && strings.Contains(body, `class="test"`) {
			return at
		}
	}
	t.Fatal("the demo's page shows no run of today and no test")
	return ""
}

func served(t *testing.T, v machine.SiteView) string {
	t.Helper()
	s := web.New(web.Options{Latest: func() (web.Snapshot, bool) { return web.Snapshot{View: v, Turned: time.Now()}, true },
		PictureStyle: pictureStyle, Logger: slog.New(slog.DiscardHandler)})
	if err := s.Start("127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close(t.Context()) })
	return "http://" + s.Addr()
}

func of[T any](v T) *T { return &v }

// firstDay is a site on which nothing was done yet. It is invented, like the others here.
func firstDay() machine.SiteView {
	return machine.SiteView{Site: "first-day", At: time.Now(), Ready: true, Systems: []machine.SystemView{{ID: "tank", NetL: 200}},
		Quantities: []machine.QuantityView{{System: "tank", Quantity: "alkalinity", Unit: "dKH", Target: 8, Band: 0.5}},
		Channels:   []machine.ChannelView{{ID: "alk", System: "tank", Container: "jug", Node: "board", PerDayML: 100, Withheld: []machine.BlockView{{Code: safety.NotPrimed, Text: "the line is not primed"}, {Code: safety.NotCalibrated, Text: "not calibrated"}}}},
		Containers: []machine.ContainerView{{ID: "jug", Supplement: "carbonate", CapacityML: 2000, StopML: 50, Empty: true}}}
}

// wrongSite has everything wrong at once, in long words.
func wrongSite() machine.SiteView {
	now := time.Now()
	v := manySystems(1)
	v.Site, v.Ready = "a-shed-with-a-name-that-is-rather-long-for-a-phone", false
	v.Why = []machine.BlockView{{Code: safety.LinkDown, Text: "there is no connection to the broker"}, {Code: safety.LedgerFault, Text: "the ledger cannot be written: /var/lib/aliquot/a-rather-long-name-of-a-ledger-file-without-a-space.db: no space left on device"}}
	for i, level := range []string{machine.Critical, machine.Critical, machine.Warning, machine.Notice} {
		v.Alerts = append(v.Alerts, machine.AlertView{Name: fmt.Sprint("alert-", i), Level: level, Raised: true, Since: now.Add(-time.Hour), Acknowledged: i == 1,
			Text: "channel alk: the output was on 3.2 s beyond its time, and what came in that time counts; look at the pump and its line before you say anything else"})
	}
	for i := range v.Channels {
		v.Channels[i].Withheld = []machine.BlockView{{Code: safety.Fault, Text: "on 3 s beyond its time"}, {Code: safety.NotPrimed, Text: "the line is not primed"}, {Code: safety.InterlockActive, Text: "interlock floor-wet: probe leak says wet", Until: &now}}
		v.Channels[i].CapExpected, v.Channels[i].Provisional = of(now.AddDate(0, 1, 0)), true
	}
	for i := range v.Containers {
		v.Containers[i].Empty, v.Containers[i].RemainingMinML, v.Containers[i].LevelWhy = true, 20, of("nothing since 07:10")
	}
	for i := range v.Quantities {
		v.Quantities[i].Level, v.Quantities[i].Unconfirmed, v.Quantities[i].NextTest = of(v.Quantities[i].Target+9*v.Quantities[i].Band), of(143.0), of(now.Add(-time.Hour))
	}
	v.Probes = []machine.ProbeView{{ID: "leak", Why: "no reading for 31 min"}, {ID: "ph", Unit: "pH", Value: of(8.61), Seen: &now}}
	v.Nodes = []machine.NodeView{{ID: "board", Style: "bounded-run"}, {ID: "plug", Style: "switch", Needs: true}}
	v.Interlocks = []machine.InterlockView{{Name: "floor-wet", Active: true, NoData: true}}
	return v
}

func manySystems(n int) machine.SiteView {
	now := time.Now()
	v := machine.SiteView{Site: "farm", Version: "0.0.0", At: now, Ready: true, NextTick: &now}
	for i := range n {
		y := fmt.Sprint("raceway-", i+1)
		v.Systems = append(v.Systems, machine.SystemView{ID: y, NetL: 1200})
		for _, q := range []struct {
			name, unit      string
			target, band, v float64
		}{{"alkalinity", "dKH", 8, 0.5, 8.12}, {"calcium", "mg/L", 430, 20, 421}} {
			v.Quantities = append(v.Quantities, machine.QuantityView{System: y, Quantity: q.name, Unit: q.unit, Target: q.target, Band: q.band, Level: of(q.v), LevelSD: of(q.band / 5),
				ConsumptionPerDay: of(q.band), ConsumptionSD: of(q.band / 10), TrendPerDay: of(0.01), TrendLow: of(-0.01), TrendHigh: of(0.03), LastTest: of(now.Add(-30 * time.Hour)), NextTest: of(now.Add(40 * time.Hour)), NextTestWhy: "the level is then known only within half its band"})
		}
		for _, c := range []string{"alk", "ca"} {
			id := fmt.Sprint(c, "-", i+1)
			v.Channels = append(v.Channels, machine.ChannelView{ID: id, System: y, Container: id + "-jug", Node: "board", PlannedMLPerDay: 97.4, Window24hHiML: 88, PerDayML: 180, RateMLPerMin: of(9.83), Calibrated: of(now.AddDate(0, -2, 0)),
				TubingLifeSeconds: of(1.44e6), RunSeconds: 2.1e5, Next: &machine.PlannedRun{At: now.Add(10 * time.Minute), VolumeML: 2.02}, LastRun: &now, LastOutcome: "finished"})
			v.Containers = append(v.Containers, machine.ContainerView{ID: id + "-jug", Supplement: "carbonate", CapacityML: 5000, StopML: 150, RemainingMinML: 3790, RemainingMaxML: 3907, DaysLeft: of(37.4), DaysLeftLow: of(32.1)})
		}
	}
	return v
}
