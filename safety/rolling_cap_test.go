package safety

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// pour is liquid that truly left an outlet at one moment.
type pour struct {
	at time.Duration // true time
	v  Microlitres
}

// trueRun is what really became of a permitted run.
type trueRun struct {
	id         string
	ask        Ask
	start, end time.Duration // true time in which the pump was on; 0, 0 if never
	pours      []pour
	reports    bool // the node's report gets through, some time after the end
	outcome    Outcome
	ran        *Milliseconds
}

type simChannel struct {
	strength float64 // of the one quantity, in 1 mL
	book     Book
	runs     []*trueRun
}

// gateSim drives two incompatible channels that move one quantity through Permit and Book, on the axis of a Clock
// whose host is stepped, restarted and left without time. The nodes keep to A1–A6 and to nothing else.
type gateSim struct {
	*world
	channels [2]simChannel
	denied   map[Code]int
}

const (
	simPerDay   Microlitres = 10_000
	simVessel   Microlitres = 15_000
	simCap                  = 3.0
	simRate     Rate        = 500_000
	simRest                 = 5 * time.Minute
	simGap                  = 15 * time.Minute
	relayOnFor              = Milliseconds(9000)
	relayWorst  Microlitres = 4500
	simSmallest Microlitres = 300
)

func newGateSim() *gateSim {
	g := &gateSim{world: newWorld(TrustSynced), denied: map[Code]int{}}
	g.channels[0].strength, g.channels[1].strength = 0.3, 0.2
	g.sync()
	g.look()
	return g
}

func (g *gateSim) facts(i int) Facts {
	now, me, other := g.clock.Now(), &g.channels[i], &g.channels[1-i]
	f := Facts{
		Now: now, LinkUp: true, LedgerGood: true, ClockTrusted: g.clock.Trusted(), OwnerSure: true, NodeUp: true,
		Calibrated: true, Primed: true, RemainingMin: 1e9,
		Limits: Limits{
			SmallestRun: simSmallest, PerRun: 5000, PerDay: simPerDay, RunTime: RunMax, Rest: simRest,
			AttendedPerRun: 5000, AttendedPerDay: simVessel,
		},
		TankHi: me.book.Hi(now, false), VesselHi: me.book.Hi(now, true),
	}
	f.LatestEnd, f.Open = me.book.LatestEnd()
	n := Neighbour{Channel: "other", Gap: simGap}
	n.LatestEnd, n.Open = other.book.LatestEnd()
	f.Neighbours = []Neighbour{n}
	used := f.TankHi.Millilitres()*me.strength + other.book.Hi(now, false).Millilitres()*other.strength
	f.Quantities = []QuantityUse{{Name: "alkalinity", Used: used, PerMillilitre: me.strength, Cap: simCap}}
	return f
}

func drawAsk(t *rapid.T) Ask {
	v := Microlitres(rapid.SampledFrom([]int64{300, 1000, 2000, 4761, 4762, 5000}).Draw(t, "volume"))
	a := Ask{Commanded: Commanded{Volume: v, Worst: v, Rate: simRate, Tolerance: 50}}
	a.Duration = simRate.TimeFor(v)
	a.Longest = a.Duration
	if v < relayWorst && rapid.Bool().Draw(t, "relay") {
		a.Worst, a.Longest = relayWorst, relayOnFor
	}
	a.Attended = rapid.IntRange(0, 3).Draw(t, "attended") == 0
	a.Vessel = a.Attended && rapid.Bool().Draw(t, "vessel")
	return a
}

// drawRun says what becomes of a run that is handed over now: it starts up to LateMax late, lasts up to its
// longest time, and moves up to 5 % more than its worst case at any moments in between.
func (g *gateSim) drawRun(t *rapid.T, id string, a Ask) *trueRun {
	r := &trueRun{id: id, ask: a}
	if rapid.IntRange(0, 9).Draw(t, "fate") == 0 {
		r.outcome = NotSent
		return r
	}
	late := rapid.SampledFrom([]time.Duration{0, 0, time.Second, LateMax / 2, LateMax - time.Millisecond, LateMax}).Draw(t, "late")
	lasts := rapid.SampledFrom([]Milliseconds{a.Longest, a.Longest, a.Duration, a.Duration / 2, 0}).Draw(t, "lasts")
	r.start = g.truth + late
	r.end = r.start + lasts.Duration()
	hi := (a.Worst*1050 + 999) / 1000 // as a pump 5 % too fast delivers
	v := hi - Microlitres(rapid.SampledFrom([]int64{0, 0, 1, int64(hi) / 2}).Draw(t, "less"))
	first := Microlitres(rapid.SampledFrom([]int64{0, int64(v), int64(v) / 2}).Draw(t, "at once"))
	r.pours = []pour{{r.start, first}, {r.end, v - first}}
	r.reports = rapid.Bool().Draw(t, "reports")
	r.outcome = rapid.SampledFrom([]Outcome{Finished, Partial}).Draw(t, "outcome")
	if rapid.Bool().Draw(t, "says how long") {
		r.ran = &lasts
	}
	return r
}

func (g *gateSim) ask(t *rapid.T) {
	i := rapid.IntRange(0, 1).Draw(t, "channel")
	a, ch := drawAsk(t), &g.channels[i]
	v := Permit(a, g.facts(i))
	for range 4 { // a refused ask comes again, often at the very moment at which the limit lets go
		if v.Allowed || rapid.IntRange(0, 4).Draw(t, "insist") == 0 {
			break
		}
		g.denied[v.Code]++
		g.awaitEnd(t, i, v.Block)
		v = Permit(a, g.facts(i))
	}
	if !v.Allowed {
		g.denied[v.Code]++
		return
	}
	r := g.drawRun(t, fmt.Sprint(len(ch.runs)), a)
	ch.runs = append(ch.runs, r)
	ch.book = ch.book.Add(g.clock.Now(), NewBooking(r.id, a.Vessel, g.clock.Now(), a.Longest, a.Commanded))
	g.record()
	if r.outcome == NotSent {
		g.close(ch, r, NotSent, nil)
	}
}

// awaitEnd lets pass what ends a block, or 1 ms less.
func (g *gateSim) awaitEnd(t *rapid.T, i int, b Block) {
	until := b.Until
	switch b.Code {
	case ClockUntrusted:
		g.quiet(2 * time.Minute)
	case ChannelBusy, KeptApart:
		if rapid.Bool().Draw(t, "give up") {
			g.giveUp()
		} else {
			g.hear(t)
		}
	case DayCap, QuantityCap:
		for _, k := range slices.Concat(g.channels[i].book.list(), g.channels[1-i].book.list()) {
			if leaves := k.leaves(); leaves > g.clock.Now() && (until == 0 || leaves < until) {
				until = leaves
			}
		}
	}
	less := rapid.SampledFrom([]Elapsed{0, 0, 1}).Draw(t, "just before")
	if wait := until - less - g.clock.Now(); wait > 0 {
		g.truth += time.Duration(wait) * time.Millisecond
	}
	g.look()
}

// quiet sets the clock right and disturbs nothing for a while.
func (g *gateSim) quiet(pass time.Duration) {
	g.sync()
	for range 3 {
		g.look()
		g.truth += pass / 2
	}
	g.look()
}

func (g *gateSim) close(ch *simChannel, r *trueRun, o Outcome, ran *Milliseconds) {
	if b, found := ch.book.Find(r.id); found {
		hi, lo := Account(r.ask.Commanded, o, ran)
		ch.book = ch.book.Replace(b.Close(g.clock.Now(), o, hi, lo))
		g.record()
	}
}

// giveUp closes what is open as unknown, as a process does when a node stays silent, and at every start.
func (g *gateSim) giveUp() {
	for i := range g.channels {
		for _, r := range g.channels[i].runs {
			if b, found := g.channels[i].book.Find(r.id); found && b.Open {
				g.close(&g.channels[i], r, Unknown, nil)
			}
		}
	}
}

// hear delivers the report of one run of the past, perhaps again, perhaps long after the run was given up.
func (g *gateSim) hear(t *rapid.T) {
	ch := &g.channels[rapid.IntRange(0, 1).Draw(t, "of channel")]
	n := len(ch.runs)
	if n == 0 {
		return
	}
	r := ch.runs[n-1-min(n-1, rapid.SampledFrom([]int{0, 0, 0, 1, 2, 7}).Draw(t, "back"))]
	if r.reports && r.end <= g.truth {
		g.close(ch, r, r.outcome, r.ran)
	} else if r.outcome != NotSent && rapid.IntRange(0, 3).Draw(t, "refused") == 0 {
		g.close(ch, r, rapid.SampledFrom([]Outcome{Refused, Extra}).Draw(t, "odd"), nil)
	}
}

var simSteps = []time.Duration{
	0, time.Millisecond, time.Second, 9 * time.Second, time.Minute, 5 * time.Minute, LateMax, LateMax + 5*time.Minute, LateMax + simGap + 9*time.Second,
	time.Hour, 6 * time.Hour, Window - LateMax - 9*time.Second, Window - LateMax, Window - 9*time.Second, Window - time.Second, Window - time.Millisecond, Window,
}

// toAnEdge lets time pass until something a limit speaks of lies just long enough, or 1 ms too little, back.
func (g *gateSim) toAnEdge(t *rapid.T) {
	ch := &g.channels[rapid.IntRange(0, 1).Draw(t, "edge of channel")]
	n := len(ch.runs)
	if n == 0 {
		return
	}
	r := ch.runs[n-1-min(n-1, rapid.SampledFrom([]int{0, 0, 1, 2, 3, 5}).Draw(t, "edge back"))]
	from := rapid.SampledFrom([]time.Duration{r.start, r.end}).Draw(t, "edge from")
	by := rapid.SampledFrom([]time.Duration{Window, Window, simGap, simRest, 0}).Draw(t, "edge by")
	less := rapid.SampledFrom([]time.Duration{time.Millisecond, 0}).Draw(t, "edge less")
	g.truth = max(g.truth, from+by-less)
}

func (g *gateSim) step(t *rapid.T) {
	switch rapid.IntRange(0, 13).Draw(t, "event") {
	case 0, 1, 2, 3:
		g.truth += rapid.SampledFrom(simSteps).Draw(t, "pass")
		g.look()
	case 4, 5, 6, 7:
		g.look()
		g.ask(t)
	case 8, 9:
		g.look()
		g.hear(t)
	case 10:
		g.look()
		g.giveUp()
	case 11:
		before := g.start
		g.disturb(t)
		if g.start != before { // a new process
			g.giveUp()
		}
	case 12:
		g.toAnEdge(t)
		g.look()
		g.ask(t)
	case 13:
		g.quiet(40 * time.Minute)
	}
}

// fullestWindow gives the largest sum of pours in any (t − 24 h, t], by brute force. A window is fullest where it
// ends at a pour.
func fullestWindow(pours []pour) (most Microlitres) {
	for _, last := range pours {
		var sum Microlitres
		for _, p := range pours {
			if p.at <= last.at && p.at > last.at-Window {
				sum += p.v
			}
		}
		most = max(most, sum)
	}
	return most
}

func (ch simChannel) pours(vessel bool) (out []pour) {
	for _, r := range ch.runs {
		if r.ask.Vessel == vessel {
			out = append(out, r.pours...)
		}
	}
	return out
}

func (g *gateSim) checkCaps(t *rapid.T) (fullest Microlitres) {
	var moved []pour // in 1e-4 of the quantity's unit
	for i, ch := range g.channels {
		tank, vessel := fullestWindow(ch.pours(false)), fullestWindow(ch.pours(true))
		if tank > simPerDay || vessel > simVessel {
			t.Fatalf("channel %d: %d µL into the tank and %d into vessels in 24 h of true time; caps %d and %d", i, tank, vessel, simPerDay, simVessel)
		}
		fullest = max(fullest, tank)
		for _, p := range ch.pours(false) {
			moved = append(moved, pour{p.at, p.v * Microlitres(math.Round(ch.strength*10))})
		}
	}
	if got := fullestWindow(moved); float64(got) > simCap*10_000 {
		t.Fatalf("all channels moved the quantity by %v in 24 h of true time; cap %v", float64(got)/10_000, simCap)
	}
	return fullest
}

// checkApart compares every pair of runs by the times in which the pumps were truly on. Attended runs are free of
// rest, and with it of the latest end of a run of the same channel that was given up.
func (g *gateSim) checkApart(t *rapid.T) {
	on := func(r *trueRun) bool { return r.outcome != NotSent }
	for i, ch := range g.channels {
		for k, r := range ch.runs {
			for _, later := range ch.runs[k+1:] {
				if on(r) && on(later) && !later.ask.Attended && later.start < r.end+simRest {
					t.Fatalf("channel %d: run %s started at %s, run %s ended at %s; want %s between", i, later.id, later.start, r.id, r.end, simRest)
				}
			}
			for _, other := range g.channels[1].runs {
				if i == 0 && on(r) && on(other) && other.start < r.end+simGap && r.start < other.end+simGap {
					t.Fatalf("run %s of channel 0 (%s–%s) and run %s of channel 1 (%s–%s) are less than %s apart", r.id, r.start, r.end, other.id, other.start, other.end, simGap)
				}
			}
		}
	}
}

// For any sequence of asks, outcomes, silences, late and repeated reports, restarts, clock steps and time, what
// truly came out of a channel in any 24 h of true time stays within its caps, the quantity within its own, and
// no two runs come closer than rest and gap.
func TestINV1RollingCapH05H09H11H12H14H25(t *testing.T) {
	var fullest Microlitres
	denied, permitted := map[Code]int{}, 0
	property := func(t *rapid.T) {
		g := newGateSim()
		for range rapid.IntRange(100, 400).Draw(t, "events") {
			g.step(t)
		}
		fullest = max(fullest, g.checkCaps(t))
		g.checkApart(t)
		for code, n := range g.denied {
			denied[code] += n
		}
		permitted += len(g.channels[0].runs) + len(g.channels[1].runs)
	}
	for range 5 { // the rarest edges need more sequences than one check draws
		rapid.Check(t, property)
	}
	for _, code := range []Code{DayCap, QuantityCap, RestTime, ChannelBusy, KeptApart, ClockUntrusted} {
		if denied[code] == 0 {
			t.Errorf("no ask was refused for %s: the sequences do not reach that limit", code)
		}
	}
	if permitted < 200 || fullest < simPerDay*9/10 {
		t.Errorf("%d runs, fullest window %d µL of %d: the sequences do not come near the cap", permitted, fullest, simPerDay)
	}
}

func TestFullestWindowCounts(t *testing.T) {
	pours := []pour{{0, 1}, {Window - 1, 10}, {Window, 100}, {3 * Window, 50}}
	if got := fullestWindow(pours); got != 110 {
		t.Errorf("fullest window %d; want 110: a pour has left when another comes exactly 24 h later", got)
	}
	slices.Reverse(pours)
	if got := fullestWindow(pours); got != 110 {
		t.Errorf("in another order %d; want 110", got)
	}
}
