package main

import (
	"log/slog"
	"sync"
	"time"

	"aliquot/bridge/ledger"
	"aliquot/bridge/logbook"
	"aliquot/bridge/machine"
	"aliquot/bridge/plot"
	"aliquot/bridge/screen"
	"aliquot/bridge/web"
)

// painter draws what the status page shows of the record. It reads the ledger beside the loop that doses, which never waits
// for it, and only while somebody looks.
type painter struct {
	site   loaded
	book   *ledger.Ledger
	view   func() (machine.SiteView, bool)
	logger *slog.Logger

	mu       sync.Mutex
	latest   web.Pictures
	has      bool
	drawing  bool
	closed   bool
	earliest time.Time // when to draw next
	work     sync.WaitGroup
}

const (
	pastDays = 14 // how far the pictures look back
	// Pictures are drawn anew at most every half minute, and never for more than a fiftieth of the time.
	drawGap   = 30 * time.Second
	drawShare = 50
	// A run under way keeps others waiting, and with them the plan of the day: the picture is of the moment before it,
	// unless that is so long ago that it tells something.
	drawBefore = 15 * time.Minute
)

// pictures gives what was drawn last, and has it drawn anew if that is some time ago.
func (p *painter) pictures() (web.Pictures, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	v, ok := p.view()
	if began := time.Now(); ok && !p.drawing && !p.closed && !began.Before(p.earliest) {
		p.drawing = true
		p.work.Go(func() { p.redraw(began, v.At) })
	}
	return p.latest, p.has
}

func (p *painter) redraw(began, at time.Time) {
	drawn, err := p.draw(at)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.drawing, p.earliest = false, time.Now().Add(max(drawGap, drawShare*time.Since(began)))
	if err != nil {
		p.logger.Warn("the page's pictures cannot be drawn", "error", err)
		return
	}
	p.latest, p.has = drawn, true
}

// close waits for what is being drawn.
func (p *painter) close() error {
	p.mu.Lock()
	p.closed = true
	p.mu.Unlock()
	p.work.Wait()
	return nil
}

// draw reads the ledger once, keeping the rows of the last days only.
func (p *painter) draw(now time.Time) (web.Pictures, error) {
	site := machineSite(p.site.Site)
	from, to, err := dayOf("today", now, p.site.Zone)
	if err != nil {
		return web.Pictures{}, err
	}
	g := logbook.Begin(site, from.AddDate(0, 0, 1-pastDays), to, now)
	if err := p.eachBeforeOpenRuns(now, g.Add); err != nil {
		return web.Pictures{}, err
	}
	span := g.Span()
	out := web.Pictures{At: now, Levels: map[string]string{}}
	for i, q := range span.Quantities {
		out.Levels[q.System+"/"+q.Quantity] = span.SmallLevelPlot(plotName(i), i)
	}
	d := newDay(p.site, site, now, from, to)
	for _, r := range g.Rows() {
		d.runs.add(r)
	}
	state := g.State()
	d.fill(&state)
	out.Day = screen.DayFigure(d.Day, p.site.Zone)
	return out, nil
}

// eachBeforeOpenRuns gives the rows up to the first run that has no outcome yet.
func (p *painter) eachBeforeOpenRuns(now time.Time, take func(machine.Row)) error {
	open := map[string]bool{}
	var waiting []machine.Row
	flush := func() {
		for _, r := range waiting {
			take(r)
		}
		waiting = waiting[:0]
	}
	if err := p.book.Each(1, func(r machine.Row) error {
		switch b := r.Body.(type) {
		case machine.RunReserved:
			open[b.Run] = true
		case machine.RunEnded:
			delete(open, b.Run)
		}
		if waiting = append(waiting, r); len(open) == 0 {
			flush()
		}
		return nil
	}); err != nil {
		return err
	}
	if len(waiting) > 0 && now.Sub(waiting[0].At) > drawBefore {
		flush()
	}
	return nil
}

func plotName(i int) string { return "past-" + string(rune('a'+i%26)) + string(rune('a'+i/26%26)) }

// pictureStyle is for the drawings' classes.
const pictureStyle = plot.Marks
