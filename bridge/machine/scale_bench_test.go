package machine_test

import (
	"flag"
	"fmt"
	"runtime"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

// farm is an invented site: the lagoon's water and four followed or fixed channels, so many times.
func farm(systems int) *machine.Site {
	one := lagoon(time.UTC)
	site := *one
	site.Systems, site.Waters, site.Containers, site.Nodes, site.Channels = nil, nil, nil, nil, nil
	site.KeepApart, site.Probes, site.Interlocks = nil, nil, nil
	for n := range systems {
		id := func(name string) string { return fmt.Sprintf("%s-%d", name, n) }
		y := one.Systems[0]
		y.ID = id("reef")
		site.Systems = append(site.Systems, y)
		site.Waters = append(site.Waters, machine.Water{System: y.ID, Salinity: 35, Temperature: 25})
		for _, k := range one.Containers {
			k.ID = id(k.ID)
			site.Containers = append(site.Containers, k)
		}
		for _, d := range one.Nodes {
			d.ID, d.Fingerprint = id(d.ID), id(d.Fingerprint)
			site.Nodes = append(site.Nodes, d)
		}
		for _, c := range one.Channels {
			c.ID, c.System, c.Container, c.Node = id(c.ID), y.ID, id(c.Container), id(c.Node)
			c.Calendar = planner.Calendar{Schedule: mustCron("*/15 * * * *"), Zone: time.UTC}
			site.Channels = append(site.Channels, c)
		}
	}
	return &site
}

// farmDay is what the ledger of a farm holds of one day: 96 runs of every channel, begun and ended, and a test of
// alkalinity for every system.
func farmDay(site *machine.Site) []machine.Row {
	start := noon
	var rows []machine.Row
	add := func(at time.Time, body machine.Body) {
		rows = append(rows, machine.Row{Seq: int64(len(rows) + 1), At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, Body: body})
	}
	for _, c := range site.Channels {
		add(start, machine.Refill{Container: c.Container, Remaining: ref(ml(500))})
		add(start, machine.Primed{Channel: c.ID})
		add(start, machine.Calibration{Channel: c.ID, Rate: mustRate(boardRate), Tolerance: safety.DefaultTolerance})
	}
	for slot := range 96 {
		at := start.Add(time.Duration(slot) * 15 * time.Minute)
		for i, y := range site.Systems {
			if i%96 == slot {
				add(at, machine.Test{System: y.ID, Quantity: units.Alkalinity, Level: 8.2, Value: 8.2, Unit: "dKH", Taken: at})
			}
		}
		for i, c := range site.Channels {
			run := fmt.Sprintf("run-%d-%d", slot, i)
			add(at, machine.RunReserved{Run: run, Channel: c.ID, Container: c.Container, Node: c.Node, Output: c.Output, Purpose: machine.Dose,
				Into: machine.IntoTank, Volume: ml(.5), Worst: ml(.5), Duration: 3000, Longest: 3000, Rate: mustRate(boardRate),
				Tolerance: safety.DefaultTolerance, DayVolume: ml(48)})
			add(at.Add(3*time.Second), machine.RunEnded{Run: run, Outcome: machine.Finished, Duration: 3000, Hi: ml(.53), Lo: ml(.47)})
		}
	}
	return rows
}

// BenchmarkFarm folds a day of sites of 1, 10, 100 systems of four channels: runs per second, and what the state holds
// after it.
func BenchmarkFarm(b *testing.B) {
	for _, systems := range farms() {
		b.Run(fmt.Sprint(systems), func(b *testing.B) {
			site := farm(systems)
			rows := farmDay(site)
			before := heap()
			var s machine.State
			for b.Loop() {
				f := machine.NewFold(site)
				for _, r := range rows {
					f.Add(r)
				}
				s = f.State()
			}
			runs := float64(96 * len(site.Channels))
			b.ReportMetric(runs*float64(b.N)/b.Elapsed().Seconds(), "runs/s")
			b.ReportMetric(float64(heap()-before)/float64(systems)/1024, "KiB/system")
			runtime.KeepAlive(s)
			runtime.KeepAlive(rows)
		})
	}
}

// -farm adds one more size, such as 1000.
var farmFlag = flag.Int("farm", 0, "one more number of systems")

func farms() []int {
	list := []int{1, 10, 100}
	if *farmFlag > 0 {
		list = append(list, *farmFlag)
	}
	return list
}

// BenchmarkFarmSteps steps a site that has lived for a day: by a second in which nothing happens, and by an hour that brings a
// plan of every channel.
func BenchmarkFarmSteps(b *testing.B) {
	for _, systems := range farms() {
		site := farm(systems)
		f := machine.NewFold(site)
		rows := farmDay(site)
		for _, r := range rows {
			f.Add(r)
		}
		for name, by := range map[string]time.Duration{"second": time.Second, "hour": time.Hour} {
			b.Run(fmt.Sprintf("%d/%s", systems, name), func(b *testing.B) {
				s, now := f.Clone().State(), safety.Instant{Wall: rows[len(rows)-1].At.Add(time.Minute), Synced: true}
				step := func(e machine.Event) { s, _ = machine.Step(s, now, e) }
				step(machine.Booted{Instance: "one"})
				step(machine.LinkChanged{Up: true})
				for b.Loop() {
					now.Wall, now.Mono = now.Wall.Add(by), now.Mono+by
					step(machine.Woke{})
				}
			})
		}
	}
}

// BenchmarkFoldMemory shows what a fold holds after one, two and four years: it should not grow with them.
func BenchmarkFoldMemory(b *testing.B) {
	for _, years := range []int{1, 2, 4} {
		b.Run(fmt.Sprintf("%d-years", years), func(b *testing.B) {
			site := sixChannels()
			rows := longHistory(site, 30_000*years, 350*years)
			for i := range rows { // at the same pace: longHistory fits everything into two years
				rows[i].At = rows[0].At.Add(rows[i].At.Sub(rows[0].At) * time.Duration(years) / 2)
				rows[i].Elapsed = safety.Elapsed(rows[i].At.UnixMilli())
				switch k := rows[i].Body.(type) {
				case machine.RunPast:
					k.Happened = rows[i].At
					rows[i].Body = k
				case machine.Test:
					k.Taken = rows[i].At
					rows[i].Body = k
				}
			}
			before := heap()
			var s machine.State
			for b.Loop() {
				f := machine.NewFold(site)
				for _, r := range rows {
					f.Add(r)
				}
				s = f.State()
			}
			b.ReportMetric(float64(heap()-before)/1024, "KiB-held")
			runtime.KeepAlive(s)
			runtime.KeepAlive(rows)
		})
	}
}

// heap is what lives, bytes.
func heap() int64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}
