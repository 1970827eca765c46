package screen

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Day is one local day of a site: what ran, and what is planned from At on.
type Day struct {
	Site     string
	From, To time.Time // local midnights
	At       time.Time // runs before it were given, those after it are planned; To or later: the day is over
	Lanes    []Lane
	Apart    []Apart
	Notes    []string
}

// Lane is one channel's day.
type Lane struct {
	Channel    string
	Slots      []time.Time // when it may run
	Runs       []DayRun
	Night      Night
	PerDayML   float64 // cap of any 24 h
	SmallestML float64
	Why        []string // for which it is withheld, code and text
}

// DayRun is one run. Seconds is 0 where it is not known.
type DayRun struct {
	At                time.Time
	VolumeML, Seconds float64
	Given             bool
}

// Night is a part of the day that gets a share of its volume; From = To is none. Minutes after local midnight.
type Night struct {
	From, To int
	Share    float64
}

// Apart are two channels that are kept apart.
type Apart struct {
	A, B string
	Gap  time.Duration
}

// DayText draws the day as a time line of whole columns.
func DayText(d Day, width int, zone *time.Location) string {
	p := newPage(width, d.At, zone)
	label := 8
	for _, l := range d.Lanes {
		label = max(label, min(16, len([]rune(l.Channel))))
	}
	t := timeLine{from: d.From, to: d.To, cells: p.width - label - 3}
	// A column of whole minutes reads more easily than one of 17.3.
	for _, minutes := range []int{5, 10, 15, 20, 30, 40, 60} {
		if cells := int(math.Ceil(d.To.Sub(d.From).Minutes() / float64(minutes))); cells <= t.cells {
			t.cells, t.column = cells, time.Duration(minutes)*time.Minute
			break
		}
	}
	p.line(fmt.Sprintf("%s, %s", strings.ToUpper(d.Site), d.From.In(p.zone).Format("Mon 2 Jan 2006 MST")))
	p.say("", d.standing(p))
	p.head(pad("", label+1, false) + t.hours(p.zone))
	for _, l := range d.Lanes {
		p.line(pad(l.Channel, label, false) + " " + t.draw(l))
		p.lane(strings.Repeat(" ", label+1), l, d.At)
	}
	p.line("")
	p.say("", fmt.Sprintf("A column is %d min. # given, | planned (a figure: so many runs), . a slot without a run", int(t.column.Minutes())))
	if len(d.Apart) > 0 {
		p.head("KEPT APART")
		for _, a := range d.Apart {
			p.say("  ", apartText(a, d, p))
		}
	}
	for _, n := range d.Notes {
		p.say("note: ", n)
	}
	return p.b.String()
}

func (d Day) standing(p *page) string {
	switch {
	case !d.At.After(d.From):
		return "Planned from what is known now; later tests change it."
	case d.At.Before(d.To):
		return fmt.Sprintf("Given up to %s, planned from there.", d.At.In(p.zone).Format("15:04"))
	}
	return "What was given."
}

// timeLine maps a day to columns.
type timeLine struct {
	from, to time.Time
	cells    int
	column   time.Duration
}

func (t timeLine) cell(at time.Time) int {
	return int(at.Sub(t.from) / t.column)
}

// hours labels every third hour, by the clock on the wall: on a day that the clock is changed there are more or fewer.
func (t timeLine) hours(zone *time.Location) string {
	line := []rune(strings.Repeat(" ", t.cells+2))
	start := t.from.In(zone)
	for h := 0; h <= 24; h += 3 {
		at := time.Date(start.Year(), start.Month(), start.Day(), h, 0, 0, 0, zone)
		if at.After(t.to) {
			break
		}
		for i, r := range fmt.Sprint(h) {
			if c := t.cell(at) + i; c >= 0 && c < len(line) {
				line[c] = r
			}
		}
	}
	return strings.TrimRight(string(line), " ")
}

// draw puts a lane's slots and runs into columns.
func (t timeLine) draw(l Lane) string {
	line := []rune(strings.Repeat(" ", t.cells))
	for _, s := range l.Slots {
		if c := t.cell(s); c >= 0 && c < len(line) {
			line[c] = '.'
		}
	}
	planned, given := make([]int, t.cells), make([]bool, t.cells)
	for _, r := range l.Runs {
		c := t.cell(r.At)
		if c < 0 || c >= len(line) {
			continue
		}
		planned[c]++
		given[c] = given[c] || r.Given
		switch n := planned[c]; {
		case given[c]:
			line[c] = '#'
		case n == 1:
			line[c] = '|'
		case n <= 9:
			line[c] = rune('0' + n)
		default:
			line[c] = '*'
		}
	}
	return string(line)
}

// lane says what the columns cannot: volumes, rounding, the night, why nothing runs.
func (p *page) lane(margin string, l Lane, at time.Time) {
	given, planned := sums(l.Runs, true), sums(l.Runs, false)
	var parts []string
	if given.runs > 0 {
		parts = append(parts, fmt.Sprintf("given %s mL in %s", number(given.ml), runs(given.runs)))
	}
	if planned.runs > 0 {
		parts = append(parts, fmt.Sprintf("planned %s mL in %s of %s mL, %s s", number(planned.ml), runs(planned.runs), span2(planned.least, planned.most), span2(planned.leastS, planned.mostS)))
	}
	if len(parts) == 0 {
		parts = append(parts, "nothing")
	}
	parts = append(parts, fmt.Sprintf("cap %s mL", number(l.PerDayML)))
	if l.Night.From != l.Night.To {
		parts = append(parts, fmt.Sprintf("%s to %s gets %.0f %% (%.0f %% here)", clock(l.Night.From), clock(l.Night.To), 100*l.Night.Share, 100*nightShare(l, p.zone)))
	}
	p.say(margin, strings.Join(parts, "; "))
	if n, ahead := carried(l, at); n > 0 && len(l.Why) == 0 && planned.runs > 0 {
		p.say(margin, fmt.Sprintf("%d of the %d slots ahead carry their share to a later one: a run is at least %s mL", n, ahead, number(l.SmallestML)))
	}
	for _, w := range l.Why {
		p.say(margin+"! ", w)
	}
}

func runs(n int) string {
	if n == 1 {
		return "1 run"
	}
	return fmt.Sprintf("%d runs", n)
}

type total struct {
	runs                           int
	ml, least, most, leastS, mostS float64
}

func sums(list []DayRun, given bool) total {
	t := total{least: math.Inf(1), leastS: math.Inf(1)}
	for _, r := range list {
		if r.Given == given {
			t.runs++
			t.ml += r.VolumeML
			t.least, t.most = min(t.least, r.VolumeML), max(t.most, r.VolumeML)
			t.leastS, t.mostS = min(t.leastS, r.Seconds), max(t.mostS, r.Seconds)
		}
	}
	return t
}

// span2 writes one figure, or two where they differ.
func span2(least, most float64) string {
	if a, b := number(least), number(most); a != b {
		return a + " to " + b
	}
	return number(least)
}

func clock(minutes int) string { return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60) }

// carried counts the slots ahead that have no run of their own.
func carried(l Lane, at time.Time) (without, ahead int) {
	for _, s := range l.Slots {
		if s.Before(at) {
			continue
		}
		ahead++
		has := false
		for _, r := range l.Runs {
			has = has || r.At.Equal(s)
		}
		if !has {
			without++
		}
	}
	return without, ahead
}

// nightShare is what part of the day's volume lies in the night.
func nightShare(l Lane, zone *time.Location) float64 {
	inside, all := 0.0, 0.0
	for _, r := range l.Runs {
		w := r.At.In(zone)
		all += r.VolumeML
		if l.Night.holds(w.Hour()*60 + w.Minute()) {
			inside += r.VolumeML
		}
	}
	return share(inside, all)
}

func (n Night) holds(minute int) bool {
	if n.From <= n.To {
		return minute >= n.From && minute < n.To
	}
	return minute >= n.From || minute < n.To
}

// apartText says how near two channels come to each other on this day.
func apartText(a Apart, d Day, p *page) string {
	text := fmt.Sprintf("%s and %s by %s", a.A, a.B, minutes(a.Gap))
	first, second, gap, ok := nearest(a, d)
	if !ok {
		return text + ": they do not meet on this day"
	}
	return fmt.Sprintf("%s: nearest are %s of %s and %s of %s, %s between them", text, first.At.In(p.zone).Format("15:04"), first.channel, second.At.In(p.zone).Format("15:04"), second.channel, minutes(gap))
}

func minutes(d time.Duration) string {
	return setting(math.Round(d.Minutes()*10)/10) + " min"
}

type laneRun struct {
	DayRun
	channel string
}

// nearest finds the two runs with the least time from the end of one to the start of the other.
func nearest(a Apart, d Day) (first, second laneRun, gap time.Duration, ok bool) {
	gap = math.MaxInt64
	for _, x := range runsOf(d, a.A) {
		for _, y := range runsOf(d, a.B) {
			early, late := x, y
			if late.At.Before(early.At) {
				early, late = late, early
			}
			between := late.At.Sub(early.At) - time.Duration(early.Seconds*float64(time.Second))
			if between < gap {
				first, second, gap, ok = early, late, between, true
			}
		}
	}
	return first, second, gap, ok
}

func runsOf(d Day, channel string) []laneRun {
	var out []laneRun
	for _, l := range d.Lanes {
		if l.Channel == channel {
			for _, r := range l.Runs {
				out = append(out, laneRun{r, channel})
			}
		}
	}
	return out
}
