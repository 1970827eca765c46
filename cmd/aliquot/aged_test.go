package main

import (
	"fmt"
	"testing"
	"time"

	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// agedRuns is how many runs each of four channels has in a day: 100 together.
const agedRuns = 25

// agedLedger fills a ledger with days of 100 runs, a test and its answer, that end at a moment; it gives the number of rows.
func agedLedger(t testing.TB, path string, until time.Time, days int) int64 {
	t.Helper()
	return aged{channels: agedChannels, systems: []string{"quay"}, runs: agedRuns}.fill(t, path, until, days)
}

// fill writes days that end at a moment, and gives the number of rows.
func (a aged) fill(t testing.TB, path string, until time.Time, days int) int64 {
	t.Helper()
	book, err := ledger.Open(ledger.Options{Path: path})
	if err != nil {
		t.Fatal(err)
	}
	a.start = until.AddDate(0, 0, -days).UTC().Truncate(time.Second)
	a.commission()
	for day := range days {
		a.day(day)
		if day%30 == 29 || day == days-1 {
			if err := book.Append(a.rows); err != nil {
				t.Fatal(err)
			}
			a.rows = a.rows[:0]
		}
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
	return a.seq
}

// aged writes the rows that a service would have written.
type aged struct {
	channels []agedChannel
	systems  []string
	runs     int // of each channel in a day

	start time.Time
	seq   int64
	rows  []machine.Row
}

type agedChannel struct {
	channel, container, node string
	output                   int
}

// agedChannels are the channels of the quay.
var agedChannels = []agedChannel{{"alk", "carbonate-jug", "board", 1}, {"ca", "calcium-jug", "board", 2}, {"trace", "trace-jug", "timed", 0}, {"iodine", "iodine-jug", "fixed", 0}}

const agedRate = safety.Rate(1_000_000) // 1 mL/s

func (a *aged) add(at time.Time, id string, body machine.Body) {
	a.seq++
	a.rows = append(a.rows, machine.Row{Seq: a.seq, ID: id, At: at, Elapsed: safety.Elapsed(at.Sub(a.start).Milliseconds()), Trusted: true, Body: body})
}

func (a *aged) commission() {
	for _, c := range a.channels {
		full := safety.Microlitres(500_000)
		a.add(a.start, "", machine.Refill{Container: c.container, Remaining: &full})
		a.add(a.start, "", machine.Primed{Channel: c.channel})
		a.add(a.start, "", machine.Calibration{Channel: c.channel, Rate: agedRate, Tolerance: safety.DefaultTolerance})
	}
}

// day adds the runs of each channel, all of one slot within a quarter of an hour, a test of each system, and at each tenth day
// a refill.
func (a *aged) day(day int) {
	begin := a.start.AddDate(0, 0, day)
	for n := range a.runs {
		for i, c := range a.channels {
			apart := min(time.Minute, 14*time.Minute/time.Duration(len(a.channels))) // the next slot comes behind all of them
			at := begin.Add(time.Duration(n)*24*time.Hour/time.Duration(a.runs) + time.Duration(i+1)*apart)
			run := fmt.Sprintf("01J%023d", a.seq)
			a.add(at, "", machine.RunReserved{Run: run, Channel: c.channel, Container: c.container, Node: c.node, Output: c.output, Serial: a.seq,
				Purpose: machine.Dose, Into: machine.IntoTank, Slot: at.Format("2006-01-02T15:04"), Volume: 1010, Duration: 1010, Longest: 1010,
				Worst: 1010, Tolerance: safety.DefaultTolerance, Rate: agedRate, DayVolume: 25_250})
			a.add(at.Add(1100*time.Millisecond), "", machine.RunEnded{Run: run, Outcome: machine.Finished, Duration: 1010, Hi: 1111, Lo: 909})
		}
	}
	end := begin.Add(24*time.Hour - time.Minute)
	level := 8.0 + .05*float64(day%4)
	for _, y := range a.systems {
		a.add(end, fmt.Sprintf("test-%s-%d", y, day), machine.Test{System: y, Quantity: units.Alkalinity, Level: level, Value: level, Unit: "dKH", Taken: end})
	}
	if day%10 == 9 {
		for _, c := range a.channels {
			full := safety.Microlitres(500_000)
			a.add(end, "", machine.Refill{Container: c.container, Remaining: &full})
		}
	}
}
