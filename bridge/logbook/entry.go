package logbook

import (
	"fmt"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Class says who an entry is about.
type Class string

// Classes.
const (
	Dosing  Class = "dosing"  // runs by plan, slots carried
	Care    Class = "care"    // what people did
	Trouble Class = "trouble" // what asks for somebody
	Service Class = "service" // of the program itself
)

// Entry is one thing that happened. Fields that it has nothing to say of are empty.
type Entry struct {
	At        time.Time `json:"at"`
	Kind      string    `json:"kind"` // run, test, refill …: the types of a history, and alert, started, stopped, carried, answer
	Class     Class     `json:"class"`
	By        string    `json:"by"`
	System    string    `json:"system"`
	Channel   string    `json:"channel"`
	Container string    `json:"container"`
	Quantity  string    `json:"quantity"`
	Value     *float64  `json:"value"`
	Unit      string    `json:"unit"`
	VolumeML  *float64  `json:"volume_ml"` // of a finished run what was commanded, of another the most that may have come
	Outcome   string    `json:"outcome"`
	Text      string    `json:"text"`

	run    string // its id, while Entries works
	vessel bool   // a run that did not go into the tank
	runs   int    // of a sum: how many there were
}

// Entries puts rows into words, in their order. The two rows of a run become one entry where it began.
func Entries(rows []machine.Row, zone *time.Location) []Entry {
	out := make([]Entry, 0, len(rows))
	open := map[string]int{}
	for _, r := range rows {
		if b, ok := r.Body.(machine.RunEnded); ok {
			if i, known := open[b.Run]; known {
				out[i].ended(b)
				continue
			}
		}
		e := entryOf(r, zone)
		if e.run != "" {
			open[e.run] = len(out)
		}
		out = append(out, e)
	}
	return out
}

func (e *Entry) ended(b machine.RunEnded) {
	e.Outcome = string(b.Outcome)
	if b.Outcome == machine.Finished {
		return
	}
	hi := b.Hi.Millilitres()
	e.VolumeML = &hi
	e.Text += fmt.Sprintf("; %s, between %s and %s mL", b.Outcome, figure(b.Lo.Millilitres()), figure(hi))
	if b.Reason != "" {
		e.Text += " (" + b.Reason + ")"
	}
	e.Class = Trouble
}

func figure(v float64) string { return fmt.Sprintf("%.4g", v) }

func entryOf(r machine.Row, zone *time.Location) Entry {
	e := Entry{At: r.At, Kind: r.Body.Kind(), Class: Care, By: r.By}
	switch b := r.Body.(type) {
	case machine.RunReserved:
		v := b.Volume.Millilitres()
		e.Kind, e.Class, e.Channel, e.Container, e.VolumeML, e.Unit, e.run, e.Outcome, e.vessel = "run", runClass(b.Purpose), b.Channel, b.Container, &v, "mL", b.Run, "open", b.Into == machine.IntoVessel
		e.Text = fmt.Sprintf("%s of %s mL in %s s into the %s", b.Purpose, figure(v), figure(b.Duration.Seconds()), b.Into)
	case machine.RunEnded:
		hi := b.Hi.Millilitres()
		e.Kind, e.Class, e.VolumeML, e.Unit, e.Outcome = "run", Trouble, &hi, "mL", string(b.Outcome)
		e.Text = fmt.Sprintf("the end of a run that began before: %s", b.Outcome)
	case machine.RunPast:
		e.pastRun(b)
	case machine.SlotCarried:
		e.Kind, e.Class, e.Channel, e.Text = "carried", Dosing, b.Channel, "the slot of "+strings.Replace(b.Slot, "T", " ", 1)+" had too little to run for; its share is carried on"
	case machine.Test:
		e.test(b, zone)
	default:
		e.care(r, zone)
	}
	return e
}

func runClass(p machine.Purpose) Class {
	if p == machine.Dose {
		return Dosing
	}
	return Care
}

func (e *Entry) pastRun(b machine.RunPast) {
	v := b.Volume.Millilitres()
	if b.Delivered != nil && b.Sum == nil { // a sum counts as its runs did
		v = b.Delivered.Millilitres()
	}
	e.Kind, e.Class, e.At, e.Channel, e.VolumeML, e.Unit, e.Outcome, e.vessel = "run", runClass(b.Purpose), b.Happened, b.Channel, &v, "mL", string(b.Outcome), b.Into == machine.IntoVessel
	e.Text = fmt.Sprintf("%s of %s mL", b.Purpose, figure(v))
	if b.Sum != nil {
		e.runs = b.Sum.Runs
		e.Text = fmt.Sprintf("%d runs of the plan, %s mL in all; each of them stands in the exported file", b.Sum.Runs, figure(v))
	}
	if b.Outcome != machine.Finished {
		e.Class, e.Text = Trouble, e.Text+"; "+string(b.Outcome)
	}
}

func (e *Entry) test(b machine.Test, zone *time.Location) {
	level := b.Level
	e.System, e.Quantity, e.Value, e.Unit = b.System, string(b.Quantity), &level, b.Quantity.Unit()
	e.Text = fmt.Sprintf("%s %s %s", b.Quantity, figure(b.Value), b.Unit)
	if b.Unit != b.Quantity.Unit() {
		e.Text += fmt.Sprintf(" (%s %s)", figure(b.Level), b.Quantity.Unit())
	}
	if e.At.Sub(b.Taken) > 5*time.Minute {
		e.Text += ", sample of " + b.Taken.In(zone).Format("2 Jan 2006 15:04")
	}
	if b.Method != "" {
		e.Text += ", " + b.Method
	}
	if b.Lot != "" {
		e.Text += ", lot " + b.Lot
	}
	if b.Of != "" && b.Of != "tank" {
		e.Text += ", of the " + b.Of
	}
	if b.Stated > 0 {
		e.Text += fmt.Sprintf(", stated %s %s", figure(b.Stated), b.Unit)
	}
	if b.Confirmed {
		e.Text += ", confirmed"
	}
}

// care words what people did and what the service noted.
func (e *Entry) care(r machine.Row, zone *time.Location) {
	switch b := r.Body.(type) {
	case machine.Calibration:
		b, _ = b.Derived()
		rate := b.Rate.MillilitresPerMinute()
		e.Channel, e.Value, e.Unit = b.Channel, &rate, "mL/min"
		e.Text = fmt.Sprintf("%s mL/min from %d trials", figure(rate), len(b.Trials))
		if b.Offset != 0 {
			e.Text += fmt.Sprintf(", and %s mL in every run besides", figure(b.Offset.Millilitres()))
		}
		if b.Provisional {
			e.Text += ", provisional"
		}
	case machine.Primed:
		e.Channel, e.Text = b.Channel, "liquid was seen at the outlet"
	case machine.Tube:
		e.Channel, e.Text = b.Channel, "new pump tubing"
	case machine.Refill:
		e.refill(b)
	case machine.Swap:
		v := b.Remaining.Millilitres()
		e.Container, e.VolumeML, e.Unit, e.Text = b.Container, &v, "mL", fmt.Sprintf("now holds %s mL of %s", figure(v), b.Supplement)
	case machine.WaterChange:
		e.waterChange(b)
	case machine.SalinityCorrection:
		e.System, e.Text = b.System, fmt.Sprintf("%s L of fresh water", figure(b.Litres))
		if b.Level != nil {
			e.Text = fmt.Sprintf("salinity brought to %s psu", figure(*b.Level))
		}
	case machine.Note:
		e.System, e.Text = b.System, strings.ReplaceAll(b.Note, "_", " ")
		if b.Text != "" {
			e.Text += ": " + b.Text
		}
	case machine.ProbeMean:
		v := b.Mean
		e.Class, e.Value, e.Text = Service, &v, fmt.Sprintf("probe %s: mean %s of %d readings", b.Probe, figure(v), b.Count)
	default:
		e.standing(r, zone)
	}
}

func (e *Entry) refill(b machine.Refill) {
	v := b.Added.Millilitres()
	e.Container, e.VolumeML, e.Unit, e.Text = b.Container, &v, "mL", fmt.Sprintf("%s mL added", figure(v))
	if b.Remaining != nil {
		left := b.Remaining.Millilitres()
		e.VolumeML, e.Text = &left, fmt.Sprintf("now holds %s mL", figure(left))
	}
}

func (e *Entry) waterChange(b machine.WaterChange) {
	v := b.Litres
	e.System, e.Value, e.Unit, e.Text = b.System, &v, "L", fmt.Sprintf("%s L of water changed", figure(v))
	var mix []string
	for _, l := range b.Mix {
		mix = append(mix, fmt.Sprintf("%s %s %s", l.Quantity, figure(l.Level), l.Quantity.Unit()))
	}
	if len(mix) > 0 {
		e.Text += ", mix of " + strings.Join(mix, ", ")
	}
}

// standing words holds, lockouts and alerts.
func (e *Entry) standing(r machine.Row, zone *time.Location) {
	switch b := r.Body.(type) {
	case machine.Hold:
		e.scope(b.Scope, fmt.Sprintf("on hold until %s: %s", b.Until.In(zone).Format("2 Jan 15:04"), b.Reason))
	case machine.Release:
		e.scope(b.Scope, "released")
	case machine.OutOfService:
		e.scope(b.Scope, b.Reason)
		e.Class = Trouble
	case machine.Lockout:
		e.scope(b.Scope, fmt.Sprintf("locked out, %s: %s", b.Code, b.Text))
		e.Class, e.Outcome = Trouble, string(b.Code)
	case machine.Cleared:
		e.scope(b.Scope, fmt.Sprintf("%s cleared", b.Code))
		e.Outcome = string(b.Code)
	case machine.AlertChanged:
		e.alert(b)
	case machine.Proof:
		e.Channel, e.Text = b.Channel, fmt.Sprintf("relay %s went off by itself after %s s", b.Node, figure(b.OnFor.Seconds()))
	case machine.Accepted:
		e.Text = "accepted: " + b.What
		if b.Text != "" {
			e.Text += ", " + b.Text
		}
	case machine.Answered:
		e.Kind, e.Class, e.Outcome, e.Text = "answer", Service, string(b.Code), fmt.Sprintf("%s: %s", b.Verb, b.Text)
	case machine.ClockConfirmed:
		e.Text = "somebody vouched for the clock"
	case machine.DaemonStarted:
		e.Kind, e.Class, e.Text = "started", Service, fmt.Sprintf("the service started, version %s", b.Version)
	case machine.DaemonStopped:
		e.Kind, e.Class, e.Text = "stopped", Service, "the service stopped"
		if b.Reason != "" {
			e.Text += ": " + b.Reason
		}
	}
}

func (e *Entry) alert(b machine.AlertChanged) {
	e.Class, e.Outcome = Trouble, b.Level
	switch {
	case !b.Raised:
		e.Text = "over: " + b.Name
	case b.Acknowledged:
		e.Class, e.Text = Care, "acknowledged: "+b.Name
	default:
		e.Text = fmt.Sprintf("%s: %s", b.Level, b.Text)
	}
}

func (e *Entry) scope(s machine.Scope, text string) {
	e.Channel, e.System, e.Text = s.Channel, s.System, text
	switch {
	case s.Interlock != "":
		e.Text = "interlock " + s.Interlock + ": " + text
	case s.Supply != "":
		e.Text = "supply relay " + s.Supply + ": " + text
	case s == machine.Scope{}:
		e.Text = "everything: " + text
	}
}

// Odd says whether a run did not plainly end as it was told.
func (e Entry) Odd() bool {
	return e.Kind == "run" && e.Outcome != string(safety.Finished) && e.Outcome != "open"
}
