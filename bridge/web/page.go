package web

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/screen"
)

// pageData is what the status page shows: texts, and positions of marks on scales from 0 to 100.
type pageData struct {
	Site, Version, At string
	Ready, Stuck      bool
	Needs             []needLine
	Ahead             []aheadLine
	Today             template.HTML
	TodayAt           string
	Drawn             bool // whether there are drawings at all
	Systems           []systemCard
	Channels          []channelCard
	Containers        []containerCard
	Probes            []probeLine
	Nodes             []machine.NodeView
	Interlocks        []machine.InterlockView
	Metrics           bool
}

type block struct{ Code, Text, Until string }

// needLine is one thing that asks for somebody.
type needLine struct{ Level, Text, Do, When, Known, Acknowledge string }

// aheadLine is what comes next of one kind.
type aheadLine struct{ What, When, Of string }

type systemCard struct {
	ID, Net    string
	Drawn      bool // whether a quantity has a drawing of its past
	Withheld   []block
	Quantities []quantityLine
}

type quantityLine struct {
	Name, Unit, Level, Within, Consumption, Target, Note string
	Trend, Next, NextWhy                                 string
	Advice                                               []string
	Known, InBand                                        bool
	BandFrom, BandWide, Mark, SpreadFrom, SpreadWide     float64
	Past                                                 template.HTML
}

type channelCard struct {
	ID, System, Container, Node, Plan, Next, Last, Window string
	CapAhead, Rate, Tubing, Course                        string
	Running                                               bool
	Used, Planned                                         float64
	Withheld                                              []block
}

type containerCard struct {
	ID, Supplement, Remaining, Lasts, State string
	Level                                   string // what a sensor says, or why nothing
	Gauge                                   template.HTML
}

type probeLine struct {
	ID, Value, Seen, Why string
	Good                 bool
}

// painter turns numbers and times into texts.
type painter struct{ zone *time.Location }

// content gathers the page.
func (h *handler) content(s Snapshot) pageData {
	v, p := s.View, painter{h.Zone}
	d := pageData{Site: v.Site, Version: v.Version, At: p.when(&v.At), Ready: v.Ready, Stuck: h.age(s) > turnLimit,
		Nodes: v.Nodes, Interlocks: v.Interlocks, Ahead: p.ahead(v), Metrics: h.Metrics != nil, Drawn: h.Pictures != nil}
	var drawn Pictures
	if h.Pictures != nil {
		drawn, _ = h.Pictures()
	}
	if drawn.Day != "" {
		d.Today, d.TodayAt = template.HTML(drawn.Day), p.when(&drawn.At)
	}
	for _, n := range screen.Needs(v) {
		d.Needs = append(d.Needs, p.need(n))
	}
	for _, y := range v.Systems {
		d.Systems = append(d.Systems, p.system(y, v.Quantities, drawn.Levels))
	}
	for _, c := range v.Channels {
		d.Channels = append(d.Channels, p.channel(c, v.At))
	}
	for _, c := range v.Containers {
		d.Containers = append(d.Containers, p.container(c, v.At))
	}
	for _, x := range v.Probes {
		d.Probes = append(d.Probes, p.probe(x))
	}
	return d
}

func (p painter) need(n screen.Need) needLine {
	l := needLine{Level: n.Level, Text: n.Text, Do: n.Do}
	if n.Since != nil {
		l.When = "since " + p.when(n.Since)
	}
	if n.Until != nil && !n.Known {
		l.When = "until " + p.when(n.Until)
	}
	if n.Known {
		l.Known = "acknowledged"
		if n.Until != nil {
			l.Known += " until " + p.when(n.Until)
		}
	} else if n.Alert != "" {
		l.Acknowledge = "aliquot acknowledge " + n.Alert
	}
	return l
}

// ahead is what comes next: a run, a test, a container to fill, a plan.
func (p painter) ahead(v machine.SiteView) []aheadLine {
	var out []aheadLine
	soonest := func(what, layout string, list []aheadAt) {
		slices.SortStableFunc(list, func(a, b aheadAt) int { return cmp.Compare(a.at.UnixNano(), b.at.UnixNano()) })
		if len(list) > 0 {
			out = append(out, aheadLine{what, list[0].at.In(p.zone).Format(layout), list[0].of})
		}
	}
	var runs, tests, fills []aheadAt
	for _, c := range v.Channels {
		if c.Next != nil && len(c.Withheld) == 0 {
			runs = append(runs, aheadAt{c.Next.At, c.ID + ", " + number(c.Next.VolumeML) + " mL"})
		}
	}
	for _, q := range v.Quantities {
		if q.NextTest != nil && q.NextTest.After(v.At) {
			tests = append(tests, aheadAt{*q.NextTest, q.Quantity + " of " + q.System})
		}
	}
	for _, c := range v.Containers {
		if d := c.DaysLeft; d != nil && *d >= 0 && *d < 3650 {
			fills = append(fills, aheadAt{v.At.Add(time.Duration(*d * 24 * float64(time.Hour))), c.ID + " is at its stop by the plan"})
		}
	}
	soonest("next run", minuteLayout, runs)
	soonest("next test", minuteLayout, tests)
	soonest("next refill", dayLayout, fills)
	if v.NextTick != nil {
		out = append(out, aheadLine{"next plan", p.when(v.NextTick), ""})
	}
	return out
}

type aheadAt struct {
	at time.Time
	of string
}

// How times are written: to the minute, or to the day.
const (
	minuteLayout = "Mon 2 Jan 15:04"
	dayLayout    = "Mon 2 Jan"
)

func (p painter) when(t *time.Time) string {
	if t == nil || t.IsZero() {
		return ""
	}
	return t.In(p.zone).Format(minuteLayout)
}

func (p painter) blocks(list []machine.BlockView) []block {
	var out []block
	for _, b := range list {
		out = append(out, block{string(b.Code), b.Text, p.when(b.Until)})
	}
	return out
}

func (p painter) system(y machine.SystemView, all []machine.QuantityView, past map[string]string) systemCard {
	card := systemCard{ID: y.ID, Net: number(y.NetL) + " L", Withheld: p.blocks(y.Withheld)}
	for _, q := range all {
		if q.System == y.ID {
			l := p.quantity(q)
			l.Past = template.HTML(past[q.System+"/"+q.Quantity])
			card.Drawn = card.Drawn || l.Past != ""
			card.Quantities = append(card.Quantities, l)
		}
	}
	return card
}

// markWide is the width of a mark on a scale of 100: one at its end stands inside.
const markWide = 1

// quantity draws a scale of three bands to each side of the target.
func (p painter) quantity(q machine.QuantityView) quantityLine {
	l := quantityLine{Name: q.Quantity, Unit: q.Unit, Target: number(q.Target) + " ± " + number(q.Band)}
	half := 3 * q.Band
	l.BandFrom, l.BandWide = span(q.Target-q.Band, q.Target+q.Band, q.Target-half, q.Target+half)
	if q.Level != nil {
		l.Known, l.Level = true, number(*q.Level)
		l.InBand = math.Abs(*q.Level-q.Target) <= q.Band
		l.Mark = min(place(*q.Level, q.Target-half, q.Target+half), 100-markWide)
		if q.LevelSD != nil {
			within := screen.Z90 * *q.LevelSD
			l.Within = number(within)
			l.SpreadFrom, l.SpreadWide = span(*q.Level-within, *q.Level+within, q.Target-half, q.Target+half)
		}
	}
	if q.ConsumptionPerDay != nil {
		l.Consumption = number(*q.ConsumptionPerDay)
		if q.ConsumptionSD != nil {
			l.Consumption += " ± " + number(screen.Z90**q.ConsumptionSD)
		}
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
		l.Trend += fmt.Sprintf(" (90 %%: %s to %s)", number(7**q.TrendLow), number(7**q.TrendHigh))
		if *q.TrendLow <= 0 && *q.TrendHigh >= 0 {
			l.Trend = fmt.Sprintf("steady (90 %%: %s to %s a week)", number(7**q.TrendLow), number(7**q.TrendHigh))
		}
	}
	if q.NextTest != nil {
		l.Next, l.NextWhy = p.when(q.NextTest), q.NextTestWhy
	}
	if text := screen.Pending(q); text != "" {
		l.Advice = append(l.Advice, text)
	}
	for _, a := range q.Advice {
		l.Advice = append(l.Advice, a.Text)
	}
}

func (p painter) channel(c machine.ChannelView, at time.Time) channelCard {
	card := channelCard{ID: c.ID, System: c.System, Container: c.Container, Node: c.Node, Running: c.Running,
		Plan:   number(c.PlannedMLPerDay) + " mL a day",
		Window: number(c.Window24hHiML) + " of " + number(c.PerDayML) + " mL",
		Used:   place(c.Window24hHiML, 0, c.PerDayML), Planned: place(c.PlannedMLPerDay, 0, c.PerDayML), Rate: p.rate(c, at), Withheld: p.blocks(screen.BesideCourse(c))}
	if c.TubingLifeSeconds != nil && *c.TubingLifeSeconds > 0 {
		card.Tubing = fmt.Sprintf("tubing has run %s h of %s h", number(c.RunSeconds/3600), number(*c.TubingLifeSeconds/3600))
	}
	if c.Next != nil {
		card.Next = p.when(&c.Next.At) + ", " + number(c.Next.VolumeML) + " mL"
	}
	if c.Course != nil {
		card.Course = screen.Course(c.Course)
	}
	if c.CapExpected != nil {
		card.CapAhead = "about " + c.CapExpected.In(p.zone).Format("2 Jan 2006") + " its cap will no longer cover the use"
	}
	if c.LastRun != nil {
		card.Last = p.when(c.LastRun) + ", " + c.LastOutcome
	}
	return card
}

// rate says how a channel's pump delivers, and since when that is known.
func (p painter) rate(c machine.ChannelView, at time.Time) string {
	if c.RateMLPerMin == nil || c.Calibrated == nil {
		return "not calibrated"
	}
	text := number(*c.RateMLPerMin) + " mL/min, calibrated " + c.Calibrated.In(p.zone).Format("2 Jan 2006")
	if days := int(at.Sub(*c.Calibrated).Hours() / 24); days > 1 {
		text += fmt.Sprintf(", %d days ago", days)
	}
	if c.CVPercent != nil {
		text += fmt.Sprintf(", %d trials that scatter by %.1f %% (CV)", c.Trials, *c.CVPercent)
	}
	if c.Provisional {
		text += ", provisional"
	}
	return text
}

func (p painter) container(c machine.ContainerView, at time.Time) containerCard {
	card := containerCard{ID: c.ID, Supplement: c.Supplement, Gauge: gauge(c, p.zone, at),
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
	if share := (v - from) / (to - from); !(to > from) || math.IsNaN(share) {
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
