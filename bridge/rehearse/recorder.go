package rehearse

import (
	"encoding/json"
	"fmt"
	"sort"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// recorder keeps what happens, for the result.
type recorder struct {
	o            Options
	rows         []machine.Row
	commissioned time.Time
	quantities   []quantityRecord
	channels     []channelRecord
	boxes        [][]Point
	refills      map[string]int
	held         []heldRecord
	ran          map[string]bool // slots that ran, channel@slot
	tests        []Test
	remarks      []Remark
	alerts       map[string]bool
	checker      checker
}

type quantityRecord struct {
	target
	series []Sample
	missed int
}

type channelRecord struct {
	runs, odd int
	ul        float64
	days      map[string]float64 // µL by local day
}

// heldRecord is one reason at one channel; slots holds the keys that met it, in order.
type heldRecord struct {
	Withheld
	slots []string
}

func newRecorder(o Options) recorder {
	r := recorder{o: o, refills: map[string]int{}, ran: map[string]bool{}, alerts: map[string]bool{}, checker: newChecker(o.Site)}
	for _, y := range o.Site.Systems {
		for _, g := range y.Targets {
			r.quantities = append(r.quantities, quantityRecord{target: target{y.ID, g.Quantity}})
		}
	}
	for range o.Site.Channels {
		r.channels = append(r.channels, channelRecord{days: map[string]float64{}})
	}
	r.boxes = make([][]Point, len(o.Site.Containers))
	return r
}

func (r *recorder) append(rows []machine.Row) {
	r.rows = append(r.rows, rows...)
	for _, row := range rows {
		switch b := row.Body.(type) {
		case machine.RunReserved:
			if key := row.SlotKey(); key != "" {
				r.ran[key] = true
			}
			if i := r.channel(b.Channel); i >= 0 && b.Into == machine.IntoTank {
				r.channels[i].runs++
			}
		case machine.Calibration:
			r.checker.calibrated(r.channel(b.Channel), b.Tolerance)
		}
	}
}

func (r *recorder) channel(id string) int {
	for i := range r.o.Site.Channels {
		if r.o.Site.Channels[i].ID == id {
			return i
		}
	}
	return -1
}

// given books what truly reached the tank.
func (r *recorder) given(i int, at time.Duration, ul float64) {
	c := &r.channels[i]
	c.ul += ul
	day := r.o.Scenario.Start.Add(at).In(r.o.Site.Zone).Format(time.DateOnly)
	c.days[day] += ul
	r.checker.given(i, at, ul)
}

func (r *recorder) ended(e machine.RunEvent) {
	if i := r.channel(e.Channel); i >= 0 && e.Outcome != machine.Finished {
		r.channels[i].odd++
	}
}

// slotTime is the form of a slot's local wall time.
const slotTime = "2006-01-02T15:04"

func (r *recorder) withheld(at time.Time, e machine.WithheldEvent) {
	if e.Slot <= r.o.Scenario.Start.In(r.o.Site.Zone).Format(slotTime) {
		return // its time had come before there was a service
	}
	key := e.Channel + "@" + e.Slot
	for i := range r.held {
		h := &r.held[i]
		if h.Channel == e.Channel && h.Code == e.Code {
			h.slots, h.Last = append(h.slots, key), at
			return
		}
	}
	r.held = append(r.held, heldRecord{Withheld{Channel: e.Channel, Code: e.Code, First: at, Last: at, Text: e.Text}, []string{key}})
}

func (r *recorder) lockout(at time.Time, e machine.LockoutEvent) {
	r.note(at, fmt.Sprintf("locked out, %s: %s", e.Scope, e.Text))
}

func (r *recorder) problem(mono time.Duration, e machine.Problem) {
	r.note(r.o.Scenario.Start.Add(mono), fmt.Sprintf("a message on %s could not be used: %s", e.Topic, e.Text))
}

// alert notes an alert when it is raised, not each time that its text changes.
func (r *recorder) alert(a machine.AlertView) {
	if a.Raised && !r.alerts[a.Name] {
		r.note(a.Since, fmt.Sprintf("alert %s (%s): %s", a.Name, a.Level, a.Text))
	}
	r.alerts[a.Name] = a.Raised
}

func (r *recorder) note(at time.Time, text string) {
	r.remarks = append(r.remarks, Remark{at.UTC(), text})
}

func (r *recorder) missed(at target) {
	for i := range r.quantities {
		if r.quantities[i].target == at {
			r.quantities[i].missed++
		}
	}
}

func (r *recorder) refilled(box string) { r.refills[box]++ }

// test keeps a test with the machine's answer to it.
func (r *recorder) test(at time.Time, of target, value, truth, mistake float64, a machine.Answered) {
	t := Test{At: at, System: of.system, Quantity: string(of.quantity), Unit: of.quantity.Unit(), Value: value, Truth: &truth, Mistake: mistake,
		Code: a.Code, Held: a.Code == safety.Unconfirmed || !a.OK}
	var result machine.TestResult
	if a.Result != "" && json.Unmarshal([]byte(a.Result), &result) == nil {
		t.Expected, t.ExpectedSD = result.Expected, result.ExpectedSD
		t.PlannedNote = planned(result.PlannedMLDay)
	}
	r.tests = append(r.tests, t)
}

func planned(list []machine.Planned) string {
	var out []string
	for _, p := range list {
		out = append(out, fmt.Sprintf("%s %.1f mL/day", p.Channel, p.MLPerDay))
	}
	return strings.Join(out, ", ")
}

// sampleEvery is how often levels are looked at.
const sampleEvery = time.Hour

// sample looks now and every hour from now on.
func (w *world) sample() {
	w.look()
	if w.mono+sampleEvery < w.end {
		w.after(sampleEvery, w.sample)
	}
}

// look notes the true levels and what is believed.
func (w *world) look() {
	believed := machine.Snapshot(&w.state).Quantities
	for i := range w.rec.quantities {
		q := &w.rec.quantities[i]
		level, use := w.level(q.system, q.quantity), w.water(q.system).UsePerDay(q.quantity)
		s := Sample{At: w.wall(), Level: &level, Use: &use}
		for _, b := range believed {
			if b.System == q.system && b.Quantity == string(q.quantity) {
				s.Believed, s.BelievedSD, s.BelievedUse, s.UseSD = b.Level, b.LevelSD, b.ConsumptionPerDay, b.ConsumptionSD
			}
		}
		q.series = append(q.series, s)
	}
	for i, k := range w.o.Site.Containers {
		if w.keeper.bottles[k.ID] { // before its first filling nobody asks
			w.rec.boxes[i] = append(w.rec.boxes[i], Point{w.wall(), w.boxes[k.ID] / 1000})
		}
	}
}

// result sums everything up.
func (w *world) result() Result {
	r := &w.rec
	s := w.o.Scenario
	out := Result{Site: w.o.Site.Name, Zone: w.o.Site.Zone.String(), From: s.Start.UTC(), To: w.wall(), Days: s.Days, Seed: s.Seed,
		Quantities: []QuantityResult{}, Channels: []ChannelResult{}, Containers: []ContainerResult{}, Withheld: []Withheld{}, Tests: r.tests,
		Happened: r.remarks, Exceeded: r.checker.exceeded(), Rows: r.rows}
	out.Asked = append([]string{}, s.Asked...)
	if out.Tests == nil {
		out.Tests = []Test{}
	}
	if out.Happened == nil {
		out.Happened = []Remark{}
	}
	sort.SliceStable(out.Happened, func(i, j int) bool { return out.Happened[i].At.Before(out.Happened[j].At) })
	if !r.commissioned.IsZero() {
		out.Commissioned = &r.commissioned
	}
	n := 0
	for _, y := range w.o.Site.Systems {
		for _, g := range y.Targets {
			q := QuantityResult{System: y.ID, Quantity: string(g.Quantity), Unit: g.Quantity.Unit(), Target: g.Target, Band: g.Band,
				MaxDose: g.MaxDose, LargestDose: r.checker.doses[n].peak, Missed: r.quantities[n].missed, Series: r.quantities[n].series}
			q.measure(r.commissioned)
			q.count(out.Tests)
			out.Quantities = append(out.Quantities, q)
			n++
		}
	}
	w.channelResults(&out)
	view := machine.Snapshot(&w.state)
	for i, k := range w.o.Site.Containers {
		out.Containers = append(out.Containers, ContainerResult{Container: k.ID, CapacityML: k.Capacity.Millilitres(), StopML: k.Stop.Millilitres(),
			Refills: r.refills[k.ID], EndML: w.boxes[k.ID] / 1000, DaysLeft: view.Containers[i].DaysLeft, Series: r.boxes[i]})
	}
	out.round()
	return out
}

func (w *world) channelResults(out *Result) {
	r := &w.rec
	for i, c := range w.o.Site.Channels {
		b := &r.channels[i]
		one := ChannelResult{Channel: c.ID, System: c.System, Container: c.Container, Runs: b.runs, OddRuns: b.odd, VolumeML: b.ul / 1000,
			PerDayML: c.Limits.PerDay.Millilitres(), LargestML: r.checker.channels[i].peak / 1000, Days: []Portion{}}
		for at := out.From.In(w.o.Site.Zone); ; at = at.AddDate(0, 0, 1) {
			day := at.Format(time.DateOnly)
			if day > out.To.In(w.o.Site.Zone).Format(time.DateOnly) {
				break
			}
			one.Days = append(one.Days, Portion{day, b.days[day] / 1000})
		}
		var mine []Withheld
		for _, h := range r.held {
			if h.Channel != c.ID {
				continue
			}
			h.Withheld.Slots = len(h.slots)
			for _, key := range h.slots {
				if r.ran[key] {
					h.RanLater++
				}
			}
			mine = append(mine, h.Withheld)
			one.WithheldNum += h.Withheld.Slots
		}
		sort.SliceStable(mine, func(i, j int) bool {
			if mine[i].Slots != mine[j].Slots {
				return mine[i].Slots > mine[j].Slots
			}
			return mine[i].Code < mine[j].Code
		})
		out.Withheld = append(out.Withheld, mine...)
		out.Channels = append(out.Channels, one)
	}
}
