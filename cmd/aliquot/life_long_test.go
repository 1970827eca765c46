//go:build long

package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"text/template"
	"time"

	"aliquot/bridge"
	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/planner/tank"
	"aliquot/planner/units"
	"aliquot/safety"
)

// life is a site at a real broker whose time is virtual: the real service, a simulated board that moves water of a digital
// tank, and a keeper at a terminal.
type life struct {
	t     *testing.T
	l     loaded
	clock *warpClock
	water *demoWater
	s     *service
	board *pumpNode
	stop  func() // unplugs the board
	pane  *pane
	slow  func()
}

func newLife(t *testing.T) *life {
	t.Helper()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	var text strings.Builder
	if err := template.Must(template.New("life.yaml.tmpl").Delims("<<", ">>").ParseFiles("testdata/life.yaml.tmpl")).Execute(&text, map[string]string{"Broker": b.URL, "Ledger": filepath.Join(t.TempDir(), "ledger.db")}); err != nil {
		t.Fatal(err)
	}
	config := writeFile(t, "site.yaml", text.String())
	l, err := load(config)
	if err != nil {
		t.Fatal(err)
	}
	v := &life{t: t, l: l, clock: newWarpClock(demoStart, 6*3600)}
	if v.water, err = newDemoWater(l, demoStart, 11); err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	trust := safety.TrustDeclared
	log := newSpeech()
	v.s, err = startService(ctx, serviceOptions{site: l, clock: daemonClock{v.clock}, trust: &trust, logger: slog.New(slog.NewTextHandler(log, nil)),
		wrap: func(p bridge.Options) bridge.Options {
			p.Ledger, p.Metrics = warpLedger{p.Ledger, v.clock}, warpMetrics{p.Metrics, v.clock}
			return p
		}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		end()
		if err := <-v.s.ended; err != nil {
			t.Error(err)
		}
		if t.Failed() {
			lines := strings.Split(log.text(), "\n")
			t.Logf("the service said at last:\n%s", strings.Join(lines[max(0, len(lines)-40):], "\n"))
		}
	})
	v.plug()
	v.pane = newPane(t, config)
	v.slow = v.clock.attend()
	v.clock.add(-1) // the slow start that the clock began with
	return v
}

// plug connects the board.
func (v *life) plug() {
	v.t.Helper()
	if v.board == nil {
		board, err := newPumpNode(v.l, v.l.Nodes[0], v.clock, -0.02)
		if err != nil {
			v.t.Fatal(err)
		}
		board.moved, board.speaks = v.water.take, func() { v.clock.onWire("board", true) }
		v.board = board
	}
	ctx, cancel := context.WithCancel(v.t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = v.board.run(ctx, v.l)
	}()
	v.stop = func() { cancel(); <-done }
	v.t.Cleanup(v.stop)
}

// pass lets days go by, fast; each third evening there is a test, unless nobody is there.
func (v *life) pass(days int, tests bool) {
	v.t.Helper()
	for day := 1; day <= days; day++ {
		v.slow()
		ring, drop := v.clock.WakeAt(v.clock.Now().Mono + 24*time.Hour)
		select {
		case <-ring:
		case <-time.After(3 * time.Minute):
			v.t.Fatal("a day does not go by")
		}
		drop()
		v.slow = v.clock.attend()
		v.calciumByHand()
		if tests && day%3 == 0 {
			value := v.water.test(units.Alkalinity, tank.Kit{SD: 0.12, Resolution: 0.1}, v.clock.Now().Wall)
			must(v.t, "enter", "-c", v.l.File, "--by", "ada", "alkalinity", fmt.Sprint(value), "dKH")
		}
	}
}

// calciumByHand keeps up what the corals take with the alkalinity: a tank without calcium would soon use neither.
func (v *life) calciumByHand() {
	v.t.Helper()
	v.water.mu.Lock()
	defer v.water.mu.Unlock()
	jug := tank.Solution{Strength: map[units.Quantity]float64{units.Calcium: 24.5}}
	if err := v.water.tank.DoseVolume(v.clock.Now().Wall, jug, 24); err != nil {
		v.t.Fatal(err)
	}
}

func (v *life) view() machine.SiteView {
	s, _ := v.s.bridge.View()
	return s
}

// commissions goes through the whole guided session.
func (v *life) commissions() {
	p := v.pane
	at := channelAt{"board", 1}
	v.water.vessel(at, true)
	p.types("clear")
	p.waits()
	p.types("aliquot commission alk")
	for i := 1; i <= 7; i++ {
		p.answers(fmt.Sprintf("(%d/7)", i), "y")
	}
	p.answers("What does jug hold now?", "full")
	p.answers("Enter runs the pump", "")
	p.answers("stand still now?", "y")
	p.answers("move from the container", "y")
	p.answers("Enter pumps", "")
	p.answers("Liquid at the outlet?", "y")
	v.calibrates()
	v.water.vessel(at, true)
	p.answers("Enter gives", "")
	p.asks("cylinder show?")
	p.answers("cylinder show?", fmt.Sprintf("%.2f", v.water.vessel(at, false)))
	p.answers("Do you agree", "yes")
	p.shows("Channel alk is commissioned.")
	p.waits()
}

// calibrates answers three trials with what really came.
func (v *life) calibrates() {
	p, at := v.pane, channelAt{"board", 1}
	p.answers("Cylinder or scale?", "c")
	for i := 1; i <= 3; i++ {
		v.water.vessel(at, true)
		p.answers(fmt.Sprintf("Trial %d.", i), "20s")
		p.asks("cylinder show?")
		p.answers("cylinder show?", fmt.Sprint(readCylinder(v.water.vessel(at, true))))
		if i < 3 {
			p.answers("Enter: next trial", "")
		}
	}
	p.answers("Enter: use these", "")
}

// TestLifeOfAChannel plays a channel's first three months: commissioning, everyday life, a wrong entry, an outage, a refill, a
// new tube and a calibration that differs by 6 %, a holiday, and a container that runs empty.
func TestLifeOfAChannel(t *testing.T) {
	v := newLife(t)
	p := v.pane
	for began := time.Now(); !v.view().Ready || !v.view().Nodes[0].Online; <-time.After(50 * time.Millisecond) {
		if time.Since(began) > patience {
			t.Fatal("the service is not ready")
		}
	}
	p.does("aliquot status", "BOATHOUSE", "not_primed", "aliquot refill jug --full")
	v.commissions()
	p.does("aliquot enter alkalinity 7.4 dKH", "now planned: alk")
	now := v.clock.Now().Wall // commands that read the ledger go by the clock on the wall of this machine
	p.does(fmt.Sprintf("aliquot plan --day %s --at %s", now.AddDate(0, 0, 1).Format(time.DateOnly), now.Format(time.RFC3339)), "BOATHOUSE", "planned")
	v.pass(12, true)
	p.does("aliquot status", "alkalinity", "next run")
	p.does("aliquot enter alkalinity 143 dKH", "ppm")
	if q := v.view().Quantities[0]; q.Unconfirmed != nil || q.TestsUsed < 5 {
		t.Errorf("after a slip of the unit the estimate rests on %d tests, unconfirmed %v", q.TestsUsed, q.Unconfirmed)
	}

	v.stop() // the board loses its power for a day
	v.pass(1, false)
	p.does("aliquot status", "OFFLINE", "look at node board")
	v.plug()
	v.pass(6, true)
	p.does("aliquot status", "board online")

	v.pass(9, true)
	p.does("aliquot refill jug --full", "now holds 1500 mL")
	v.pass(6, true)
	p.does("aliquot tube alk", "calibrate")
	v.board.sim.SetRate(v.clock.Now().Wall, 0, 30*0.98*0.94) // the new tube gives 6 % less
	p.types("clear")
	p.waits()
	p.types("aliquot commission alk --again calibration")
	v.calibratesAgain()
	p.does("aliquot history --kind calibration", "calibration")

	v.pass(3, true)
	p.does("aliquot note other \"away for two weeks\"")
	v.pass(14, false) // a holiday without tests
	p.does("aliquot status", "alkalinity")
	v.pass(21, true)
	for i := 0; i < 20 && !v.view().Containers[0].Empty; i++ { // tests go on, but nobody looks at the container
		v.pass(3, true)
	}
	p.does("aliquot status", "EMPTY", "aliquot refill jug --full")
	p.does("aliquot refill jug --full", "its lines have to be primed")
	v.water.vessel(channelAt{"board", 1}, true)
	p.does("aliquot prime alk --into vessel", "into the vessel")
	<-time.After(2 * time.Second)
	v.water.vessel(channelAt{"board", 1}, false)
	p.does("aliquot primed alk", "primed")
	v.pass(12, true) // no faster than max_rise
	p.does("aliquot status", "ok")

	total, most := 0.0, 0.0
	for _, c := range v.view().Channels {
		total, most = c.TotalHiML, c.Window24hHiML
	}
	if total < 1500 || most > 90 {
		t.Errorf("in three months %g mL were given, at most %g mL in the last day", total, most)
	}
	if level := v.water.level(units.Alkalinity, v.clock.Now().Wall); level < 7 || level > 9 {
		t.Errorf("in the end the water truly has %.2f dKH, wanted 8", level)
	}
	if days := v.clock.Now().Mono.Hours() / 24; days < 75 {
		t.Errorf("the life lasted %.0f days", days)
	}
	if dir := os.Getenv("HOUSE_PICTURES"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "life.txt"), []byte(p.screens.String()), 0o644); err != nil {
			t.Error(err)
		}
	}
}

// calibratesAgain answers what a session asks before and after a new calibration, until the shell is back.
func (v *life) calibratesAgain() {
	p, at := v.pane, channelAt{"board", 1}
	answers := []struct{ question, line string }{
		{"/7)", "y"}, {"hold now?", ""}, {"stand still now?", "y"}, {"move from the container", "y"}, {"Liquid at the outlet?", "y"},
		{"Enter runs the pump", ""}, {"Enter pumps", ""}, {"Enter pushes", ""}, {"Enter gives", ""}, {"Do you agree", "yes"},
	}
	v.water.vessel(at, true)
	defer v.water.vessel(at, false)
	for began := time.Now(); time.Since(began) < 4*patience; <-time.After(300 * time.Millisecond) {
		screen := p.screen()
		lines := strings.Split(screen, "\n")
		last := strings.Join(lines[max(0, len(lines)-2):], " ")
		switch {
		case strings.Contains(last, "Cylinder or scale?"):
			v.calibrates()
		case strings.Contains(last, "cylinder show?"): // of the test run
			p.types(fmt.Sprintf("%.2f", v.water.vessel(at, true)))
		case p.ended(screen):
			return
		}
		for _, a := range answers {
			if strings.Contains(last, a.question) {
				if a.question == "Enter gives" {
					v.water.vessel(at, true)
				}
				p.types(a.line)
				break
			}
		}
	}
	v.t.Fatalf("the session does not end:\n%s", p.screen())
}
