package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/screen"
	"aliquot/planner/units"
)

// teller tells the demo's story in the terminal, 80 columns wide, without colour.
type teller struct {
	mu    sync.Mutex
	w     io.Writer
	l     loaded
	clock *warpClock
	water *demoWater

	shown   int // runs told one by one
	runs    int
	given   map[string]float64 // mL into the tank since the last evening
	odd     int
	worst   float64
	started time.Time
}

// showRuns is how many runs are told one by one, before only their sums are.
const showRuns = 20

func newTeller(w io.Writer, l loaded, clock *warpClock, water *demoWater) *teller {
	return &teller{w: w, l: l, clock: clock, water: water, given: map[string]float64{}, started: time.Now()}
}

func (t *teller) hello(s *service) {
	broker := s.broker.Addr()
	_, port, _ := strings.Cut(broker, ":")
	fmt.Fprintf(t.w, `aliquot demo: an invented frag tank of %g L. Pumps, probes, water and keeper are
simulated, each with its own MQTT connection; the service between them is the
real one. Nothing here is advice for a real tank. Ctrl-C ends it.

  page     http://%s
  metrics  http://%s/metrics
  broker   mqtt://%s   (mosquitto_sub -p %s -t 'aliquot/#' -v)

`, t.l.Systems[0].NetLitres, s.page.Addr(), s.page.Addr(), broker, port)
}

func (t *teller) stamp() string {
	now := t.clock.Now().Wall.In(t.l.Zone)
	return fmt.Sprintf("day %2d %s", now.YearDay()-demoStart.YearDay()+365*(now.Year()-demoStart.Year())+1, now.Format("15:04"))
}

func (t *teller) line(who, format string, args ...any) {
	t.mu.Lock()
	defer t.mu.Unlock()
	head := fmt.Sprintf("%s  %-7s ", t.stamp(), who)
	text := fmt.Sprintf(format, args...)
	if len([]rune(text)) <= 80-len(head) {
		fmt.Fprintln(t.w, strings.TrimRight(head+text, " "))
		return
	}
	for i, part := range wrap(text, 80-len(head)) {
		if i > 0 {
			head = strings.Repeat(" ", len(head))
		}
		fmt.Fprintln(t.w, head+part)
	}
}

// wrap breaks a text into lines of at most so many characters.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > width {
			lines = append(lines, line)
			line = word
			continue
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(lines, line)
}

// keeper tells what the keeper did and what the service said.
func (t *teller) keeper(what string, r reply) {
	t.line("keeper", "%s", what)
	if r.OK {
		t.line("", "-> %s", r.Text)
		return
	}
	t.line("", "-> refused (%s): %s", r.Code, r.Text)
}

// listen tells of runs, over a connection of its own.
func (t *teller) listen(ctx context.Context) error {
	c, err := dial(ctx, t.l)
	if err != nil {
		return err
	}
	defer c.stop()
	for {
		err := c.event(ctx, 24*time.Hour, func(kind string, data json.RawMessage) bool {
			t.event(kind, data)
			return false
		})
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

func (t *teller) event(kind string, data json.RawMessage) {
	switch kind {
	case "run_ended":
		var e machine.RunEvent
		if json.Unmarshal(data, &e) == nil {
			t.runEnded(e)
		}
	case "lockout":
		var e machine.LockoutEvent
		if json.Unmarshal(data, &e) == nil {
			t.line("lockout", "%s (%s): %s", e.Scope, e.Code, e.Text)
		}
	case "interlock":
		var e machine.InterlockView
		if json.Unmarshal(data, &e) == nil {
			t.line("", "interlock %s: %s", e.Name, map[bool]string{true: "blocks", false: "lets go"}[e.Active])
		}
	}
}

func (t *teller) runEnded(e machine.RunEvent) {
	t.mu.Lock()
	t.runs++
	show := t.shown < showRuns || e.Outcome != machine.Finished
	if show {
		t.shown++
	}
	if e.Outcome != machine.Finished {
		t.odd++
	}
	if e.Into == machine.IntoTank {
		t.given[e.Channel] += e.VolumeML
	}
	last := t.shown == showRuns && show
	t.mu.Unlock()
	if !show {
		return
	}
	t.line("run", "%-10s %5.2f mL in %4.1f s into the %-6s %s %s", e.Channel, e.VolumeML, e.Seconds, e.Into, e.Outcome, e.Reason)
	if last {
		t.line("", "(from here on only each evening's sums are shown)")
	}
}

// day sums up an evening.
func (t *teller) day(day int, s *service) {
	now := t.clock.Now().Wall
	v, _ := s.bridge.View()
	t.mu.Lock()
	var volumes []string
	for _, ch := range t.l.Channels {
		volumes = append(volumes, fmt.Sprintf("%s %.1f", ch.ID, t.given[ch.ID]))
		t.given[ch.ID] = 0
	}
	t.mu.Unlock()
	t.line("", "given since yesterday, mL: %s", strings.Join(volumes, ", "))
	for _, q := range v.Quantities {
		if q.Level == nil {
			continue
		}
		truth := t.water.level(units.Quantity(q.Quantity), now)
		if q.Quantity == string(units.Alkalinity) && day > 3 {
			t.worst = max(t.worst, math.Abs(truth-q.Target))
		}
		t.line("", "%-10s %s believed %.4g ± %.2g (90 %%), in truth %.4g %s", q.Quantity, gauge(truth, q.Target, q.Band), *q.Level, screen.Z90**q.LevelSD, truth, q.Unit)
	}
	for _, a := range v.Alerts {
		t.line("", "alert %s (%s): %s", a.Name, a.Level, a.Text)
	}
}

// gauge draws where a level stands: the band in brackets, the target as a colon, the level as an o.
func gauge(level, target, band float64) string {
	const half, inBand = 10, 5
	cells := []rune(strings.Repeat(".", 2*half+1))
	cells[half-inBand], cells[half+inBand], cells[half] = '[', ']', ':'
	at := half + int(math.Round((level-target)/band*inBand))
	cells[min(2*half, max(0, at))] = 'o'
	return string(cells)
}

func (t *teller) goodbye() {
	t.mu.Lock()
	defer t.mu.Unlock()
	days := t.clock.Now().Wall.Sub(demoStart).Hours() / 24
	fmt.Fprintf(t.w, "\n%.1f simulated days in %s: %d runs, %d of them not plainly finished", days, time.Since(t.started).Round(time.Second), t.runs, t.odd)
	if t.worst > 0 {
		fmt.Fprintf(t.w, "; alkalinity stayed within %.2f dKH of its target on the evenings after day 3", t.worst)
	}
	fmt.Fprintln(t.w, ".")
}
