package machine_test

import (
	"fmt"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

// sixChannels is the lagoon with two more fixed channels.
func sixChannels() *machine.Site {
	site := lagoon(time.UTC)
	for i, at := range []string{"20 */4 * * *", "40 */3 * * *"} {
		c := fixed(channel(fmt.Sprintf("extra-%d", i), "trace-bottle", "board", 4+i, traces, planner.Calendar{Schedule: mustCron(at), Zone: time.UTC}, ml(5), ml(30)), 4)
		site.Channels = append(site.Channels, c)
	}
	return site
}

func BenchmarkStepIdle(b *testing.B) {
	r := newRig(b, sixChannels(), noon)
	r.boot()
	r.readings["ph"] = 8.2
	r.advance(10 * time.Minute)
	b.ReportAllocs()
	now := r.instant()
	for b.Loop() {
		now.Mono += 10 * time.Millisecond
		now.Wall = now.Wall.Add(10 * time.Millisecond)
		r.state, _ = machine.Step(r.state, now, machine.Woke{})
	}
}

// longHistory is what an import of two years looks like: runs of six channels, hourly, and a test a day.
func longHistory(site *machine.Site, runs, tests int) []machine.Row {
	start := time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC)
	var rows []machine.Row
	add := func(at time.Time, id string, body machine.Body) {
		rows = append(rows, machine.Row{Seq: int64(len(rows) + 1), ID: id, At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, Body: body})
	}
	for _, c := range site.Channels {
		add(start, "", machine.Refill{Container: c.Container, Remaining: ref(ml(2000))})
		add(start, "", machine.Primed{Channel: c.ID})
		add(start, "", machine.Calibration{Channel: c.ID, Rate: mustRate(boardRate), Tolerance: safety.DefaultTolerance})
	}
	span := 730 * 24 * time.Hour
	n := 0
	for i := range runs {
		at := start.Add(span / time.Duration(runs) * time.Duration(i+1)).Truncate(time.Second)
		for n < tests && start.Add(span/time.Duration(tests)*time.Duration(n)).Before(at) {
			q, level := units.Alkalinity, 8.1+.1*float64(n%3)
			if n%4 == 3 {
				q, level = units.Calcium, 425+float64(n%5)
			}
			add(at, fmt.Sprintf("test-%d", n), machine.Test{System: "reef", Quantity: q, Level: level, Value: level, Unit: q.Unit(), Taken: at})
			n++
		}
		c := site.Channels[i%len(site.Channels)]
		v := ml(.9 + .1*float64(i%3))
		add(at, fmt.Sprintf("run-%d", i), machine.RunPast{Channel: c.ID, Happened: at, Purpose: machine.Dose, Into: machine.IntoTank, Volume: v, Outcome: machine.Finished})
		if i%5000 == 0 {
			for _, k := range site.Containers {
				add(at, "", machine.Refill{Container: k.ID, Remaining: ref(k.Capacity)})
			}
		}
	}
	return rows
}

// BenchmarkFoldAndPreview is what `plan` does with two years of history; it should take well below 250 ms.
func BenchmarkFoldAndPreview(b *testing.B) {
	site := sixChannels()
	rows := longHistory(site, 60_000, 700)
	at := rows[len(rows)-1].At.Add(time.Hour)
	b.ReportAllocs()
	for b.Loop() {
		f := machine.NewFold(site)
		for _, r := range rows {
			f.Add(r)
		}
		s := f.State()
		if v := machine.Preview(&s, at); len(v.Runs) == 0 {
			b.Fatalf("nothing planned: %+v", v)
		}
	}
}

// BenchmarkFoldCrossing is the same where slots of several channels fall together, so that ends cross.
func BenchmarkFoldCrossing(b *testing.B) {
	site := sixChannels()
	rows := crossing(longHistory(site, 60_000, 700))
	b.ReportAllocs()
	for b.Loop() {
		f := machine.NewFold(site)
		for _, r := range rows {
			f.Add(r)
		}
		f.State()
	}
}

// crossing moves runs together in sixes: the longer ones end behind those that follow.
func crossing(rows []machine.Row) []machine.Row {
	var at time.Time
	n := 0
	for i := range rows {
		b, ok := rows[i].Body.(machine.RunPast)
		if !ok {
			continue
		}
		if n%6 == 0 {
			at = b.Happened
		}
		n++
		b.Happened = at
		b.Volume = ml(2 - .1*float64(n%6))
		rows[i].Body = b
	}
	return rows
}

// BenchmarkTestEntry is a new test in a daemon that carries its estimates forward, with the plan that follows it; it should
// take below 2 ms.
func BenchmarkTestEntry(b *testing.B) {
	r := newRig(b, sixChannels(), noon)
	r.boot()
	r.commission()
	r.advance(3 * 24 * time.Hour)
	b.ReportAllocs()
	now, value, n := r.instant(), 8.1, 0
	for b.Loop() {
		n++
		now.Mono += time.Minute
		now.Wall = now.Wall.Add(time.Minute)
		ask := machine.Asked{Request: machine.Request{Verb: machine.VerbTest, Ref: fmt.Sprint("bench-", n), Quantity: "alkalinity", Value: &value, Unit: "dKH"}}
		r.state, _ = machine.Step(r.state, now, ask)
	}
}
