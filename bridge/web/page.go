package web

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"aliquot/bridge/machine"
)

// pageData is what the status page shows: texts, and positions of marks on scales from 0 to 100.
type pageData struct {
	Site, Version, At string
	Ready, Stuck      bool
	Why               []block
	Alerts            []alertLine
	Systems           []systemCard
	Channels          []channelCard
	Containers        []containerCard
	Probes            []probeLine
	Nodes             []machine.NodeView
	Interlocks        []machine.InterlockView
	NextPlan          string
	Metrics           bool
}

type block struct{ Code, Text, Until string }

type alertLine struct{ Level, Text, Since, State string }

type systemCard struct {
	ID, Net    string
	Withheld   []block
	Quantities []quantityLine
}

type quantityLine struct {
	Name, Unit, Level, SD, Consumption, Target, Note string
	Trend, Next, NextWhy                             string
	Advice                                           []string
	Known, InBand                                    bool
	BandFrom, BandWide, Mark, SpreadFrom, SpreadWide float64
}

type channelCard struct {
	ID, System, Container, Node, Plan, Next, Last, Window string
	CapAhead                                              string
	Running                                               bool
	Used                                                  float64
	Withheld                                              []block
}

type containerCard struct {
	ID, Supplement, Remaining, Lasts, State string
	Level                                   string // what a sensor says, or why nothing
	Min, Max, Stop                          float64
}

type probeLine struct {
	ID, Value, Seen, Why string
	Good                 bool
}

// painter turns numbers and times into texts.
type painter struct{ zone *time.Location }

func newPage(v machine.SiteView, stuck bool, zone *time.Location, metrics bool) pageData {
	p := painter{zone}
	d := pageData{Site: v.Site, Version: v.Version, At: p.when(&v.At), Ready: v.Ready, Stuck: stuck,
		Why: p.blocks(v.Why), Nodes: v.Nodes, Interlocks: v.Interlocks, NextPlan: p.when(v.NextTick), Metrics: metrics}
	for _, a := range v.Alerts {
		if a.Raised {
			d.Alerts = append(d.Alerts, p.alert(a))
		}
	}
	for _, y := range v.Systems {
		d.Systems = append(d.Systems, p.system(y, v.Quantities))
	}
	for _, c := range v.Channels {
		d.Channels = append(d.Channels, p.channel(c))
	}
	for _, c := range v.Containers {
		d.Containers = append(d.Containers, p.container(c))
	}
	for _, x := range v.Probes {
		d.Probes = append(d.Probes, p.probe(x))
	}
	return d
}

func (p painter) when(t *time.Time) string {
	if t == nil || t.IsZero() {
		return ""
	}
	return t.In(p.zone).Format("Mon 2 Jan 15:04")
}

func (p painter) blocks(list []machine.BlockView) []block {
	var out []block
	for _, b := range list {
		out = append(out, block{string(b.Code), b.Text, p.when(b.Until)})
	}
	return out
}

func (p painter) alert(a machine.AlertView) alertLine {
	l := alertLine{Level: a.Level, Text: a.Text, Since: p.when(&a.Since)}
	if a.Acknowledged {
		l.State = "acknowledged"
	}
	return l
}

func (p painter) system(y machine.SystemView, all []machine.QuantityView) systemCard {
	card := systemCard{ID: y.ID, Net: number(y.NetL) + " L", Withheld: p.blocks(y.Withheld)}
	for _, q := range all {
		if q.System == y.ID {
			card.Quantities = append(card.Quantities, p.quantity(q))
		}
	}
	return card
}

// quantity draws a scale of three bands to each side of the target.
func (p painter) quantity(q machine.QuantityView) quantityLine {
	l := quantityLine{Name: q.Quantity, Unit: q.Unit, Target: number(q.Target) + " ± " + number(q.Band)}
	half := 3 * q.Band
	l.BandFrom, l.BandWide = span(q.Target-q.Band, q.Target+q.Band, q.Target-half, q.Target+half)
	if q.Level != nil {
		l.Known, l.Level = true, number(*q.Level)
		l.InBand = math.Abs(*q.Level-q.Target) <= q.Band
		l.Mark = place(*q.Level, q.Target-half, q.Target+half)
		if q.LevelSD != nil {
			l.SD = number(*q.LevelSD)
			l.SpreadFrom, l.SpreadWide = span(*q.Level-*q.LevelSD, *q.Level+*q.LevelSD, q.Target-half, q.Target+half)
		}
	}
	if q.ConsumptionPerDay != nil {
		l.Consumption = number(*q.ConsumptionPerDay)
	}
	p.advice(&l, q)
	switch {
	case q.Unconfirmed != nil:
		l.Note = "a test of " + number(*q.Unconfirmed) + " " + q.Unit + " waits for a second one"
	case q.LastTest != nil:
		l.Note = "tested " + p.when(q.LastTest)
	default:
		l.Note = "no test yet"
	}
	return l
}

// advice adds what is worth knowing beside the numbers.
func (p painter) advice(l *quantityLine, q machine.QuantityView) {
	if t := q.TrendPerDay; t != nil && q.TrendLow != nil && q.TrendHigh != nil {
		week := "rises by "
		if *t < 0 {
			week = "falls by "
		}
		l.Trend = week + number(7*math.Abs(*t)) + " a week"
		if *q.TrendLow <= 0 && *q.TrendHigh >= 0 {
			l.Trend = "steady"
		}
	}
	if q.NextTest != nil {
		l.Next, l.NextWhy = p.when(q.NextTest), q.NextTestWhy
	}
	for _, a := range q.Advice {
		l.Advice = append(l.Advice, a.Text)
	}
}

func (p painter) channel(c machine.ChannelView) channelCard {
	card := channelCard{ID: c.ID, System: c.System, Container: c.Container, Node: c.Node, Running: c.Running,
		Plan:   number(c.PlannedMLPerDay) + " mL a day",
		Window: number(c.Window24hHiML) + " of " + number(c.PerDayML) + " mL",
		Used:   place(c.Window24hHiML, 0, c.PerDayML), Withheld: p.blocks(c.Withheld)}
	if c.Next != nil {
		card.Next = p.when(&c.Next.At) + ", " + number(c.Next.VolumeML) + " mL"
	}
	if c.CapExpected != nil {
		card.CapAhead = "about " + c.CapExpected.In(p.zone).Format("2 Jan 2006") + " its cap will no longer cover the use"
	}
	if c.LastRun != nil {
		card.Last = p.when(c.LastRun) + ", " + c.LastOutcome
	}
	return card
}

func (p painter) container(c machine.ContainerView) containerCard {
	card := containerCard{ID: c.ID, Supplement: c.Supplement, Min: place(c.RemainingMinML, 0, c.CapacityML),
		Max: place(c.RemainingMaxML, 0, c.CapacityML), Stop: place(c.StopML, 0, c.CapacityML),
		Remaining: number(c.RemainingMinML) + " to " + number(c.RemainingMaxML) + " of " + number(c.CapacityML) + " mL"}
	if c.DaysLeft != nil {
		card.Lasts = "lasts " + number(*c.DaysLeft) + " days"
		if c.DaysLeftLow != nil && *c.DaysLeftLow < *c.DaysLeft {
			card.Lasts += ", at worst " + number(*c.DaysLeftLow)
		}
	}
	switch {
	case c.LevelML != nil:
		card.Level = "the sensor says " + number(*c.LevelML) + " mL"
	case c.LevelWhy != nil && *c.LevelWhy != "":
		card.Level = "the sensor says nothing: " + *c.LevelWhy
	}
	switch {
	case c.Empty:
		card.State = "empty"
	case c.Low:
		card.State = "low"
	}
	return card
}

func (p painter) probe(x machine.ProbeView) probeLine {
	l := probeLine{ID: x.ID, Seen: p.when(x.Seen), Good: x.Good, Why: x.Why, Value: "no reading"}
	if x.Value != nil {
		l.Value = number(*x.Value)
		if x.Unit != "" {
			l.Value += " " + x.Unit
		}
	}
	return l
}

// number gives four significant digits without an exponent.
func number(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "?"
	case a >= 1000 || a == 0:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 100:
		return trimmed(v, 1)
	case a >= 10:
		return trimmed(v, 2)
	}
	return trimmed(v, 3)
}

func trimmed(v float64, decimals int) string {
	scale := math.Pow(10, float64(decimals))
	return strconv.FormatFloat(math.Round(v*scale)/scale, 'f', -1, 64)
}

// place gives where v lies between from (0) and to (100), held inside.
func place(v, from, to float64) float64 {
	if !(to > from) || math.IsNaN(v) {
		return 0
	}
	return math.Round(100*max(0, min(100, 100*(v-from)/(to-from)))) / 100
}

// span gives where a range begins and how wide it is, on the same scale.
func span(low, high, from, to float64) (start, wide float64) {
	start = place(low, from, to)
	return start, math.Round(100*(place(high, from, to)-start)) / 100
}

// Percent is for the text beside a bar.
func (c channelCard) Percent() string { return fmt.Sprintf("%.0f %%", c.Used) }
