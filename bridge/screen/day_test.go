package screen

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// sampleDay is a day of the invented shed: given up to 09:00, planned from there.
func sampleDay(z *time.Location, year, month, day int) Day {
	from := time.Date(year, time.Month(month), day, 0, 0, 0, 0, z)
	d := Day{Site: "harbour-shed", From: from, To: time.Date(year, time.Month(month), day+1, 0, 0, 0, 0, z), Apart: []Apart{{"alk", "ca", 10 * time.Minute}, {"alk", "mg", 10 * time.Minute}},
		Notes: []string{"node, link and clock are assumed good"}}
	d.At = from.Add(9 * time.Hour)
	alk := Lane{Channel: "alk", PerDayML: 180, SmallestML: 0.3, Night: Night{20 * 60, 8 * 60, 0.6}}
	ca := Lane{Channel: "ca", PerDayML: 180, SmallestML: 0.3}
	mg := Lane{Channel: "mg", PerDayML: 40, SmallestML: 0.3, Why: []string{"not_primed: the line is not primed"}}
	dense := Lane{Channel: "limewater-on-the-left", PerDayML: 4000, SmallestML: 0.3}
	for i := range 48 {
		at := from.Add(time.Duration(i) * 30 * time.Minute)
		alk.Slots = append(alk.Slots, at)
		if volume := map[bool]float64{true: 2.4, false: 1.6}[alk.Night.holds(at.In(z).Hour()*60)]; i%2 == 0 {
			alk.Runs = append(alk.Runs, DayRun{At: at, VolumeML: volume, Seconds: volume * 6, Given: at.Before(d.At)})
		}
		at = at.Add(15 * time.Minute)
		ca.Slots = append(ca.Slots, at)
		ca.Runs = append(ca.Runs, DayRun{At: at, VolumeML: 1.9, Seconds: 11.4, Given: at.Before(d.At)})
	}
	for i := range 24 * 12 {
		at := from.Add(time.Duration(i) * 5 * time.Minute)
		dense.Slots = append(dense.Slots, at)
		dense.Runs = append(dense.Runs, DayRun{At: at, VolumeML: 10, Seconds: 60, Given: at.Before(d.At)})
	}
	mg.Slots = []time.Time{from.Add(6 * time.Hour), from.Add(18 * time.Hour)}
	d.Lanes = []Lane{alk, ca, mg, dense}
	return d
}

func TestDayGolden(t *testing.T) {
	d := sampleDay(time.UTC, 2027, 3, 2)
	for _, width := range []int{80, 120} {
		got := DayText(d, width, time.UTC)
		fits(t, got, width)
		golden(t, fmt.Sprintf("day-%d.txt", width), got)
	}
	d.Lanes = d.Lanes[:3]
	golden(t, "day.svg", DaySVG(d, time.UTC))
	bare := Day{Site: "bare", From: d.From, To: d.To, At: d.To}
	if got := DayText(bare, 80, time.UTC); !strings.Contains(got, "What was given.") {
		t.Error(got)
	}
	if got := DayText(Day{Site: "bare", From: d.From, To: d.To, At: d.From.Add(-time.Hour)}, 80, nil); !strings.Contains(got, "Planned from what is known now") {
		t.Error(got)
	}
}

// On the days of a clock change the hours stand where the wall clock shows them.
func TestDayOfAClockChange(t *testing.T) {
	lisbon := zone(t, "Europe/Lisbon")
	for _, c := range []struct {
		month, day int
		hours      float64
	}{{3, 28, 23}, {10, 31, 25}, {6, 1, 24}} {
		d := sampleDay(lisbon, 2027, c.month, c.day)
		if got := d.To.Sub(d.From).Hours(); got != c.hours {
			t.Fatalf("the day has %g h", got)
		}
		text := DayText(d, 80, lisbon)
		fits(t, text, 80)
		lines := strings.Split(text, "\n")
		hours, lane := lines[3], lines[4]
		// The planned run of 21:00 stands under its hour.
		at := strings.Index(hours, "21")
		for _, r := range d.Lanes[0].Runs {
			if r.At.In(lisbon).Hour() == 21 && r.At.In(lisbon).Minute() == 0 && lane[at] == ' ' {
				t.Errorf("%d-%d: nothing stands below 21:\n%s\n%s", c.month, c.day, hours, lane)
			}
		}
	}
}

func TestNearestRuns(t *testing.T) {
	at := func(minute int) time.Time { return now.Add(time.Duration(minute) * time.Minute) }
	d := Day{Lanes: []Lane{{Channel: "a", Runs: []DayRun{{At: at(0), Seconds: 60}, {At: at(100), Seconds: 60}}}, {Channel: "b", Runs: []DayRun{{At: at(40), Seconds: 30}, {At: at(90), Seconds: 120}}}, {Channel: "c"}}}
	first, second, gap, ok := nearest(Apart{A: "a", B: "b"}, d)
	if !ok || gap != 8*time.Minute || first.channel != "b" || second.channel != "a" {
		t.Errorf("%v %v %s %v", first, second, gap, ok)
	}
	if _, _, _, ok := nearest(Apart{A: "a", B: "c"}, d); ok {
		t.Error("a channel without runs meets another")
	}
}

func TestNightShare(t *testing.T) {
	at := func(hour int) time.Time { return time.Date(2027, 3, 2, hour, 0, 0, 0, time.UTC) }
	l := Lane{Night: Night{22 * 60, 6 * 60, 0.6}, Runs: []DayRun{{At: at(0), VolumeML: 2}, {At: at(5), VolumeML: 1}, {At: at(6), VolumeML: 5}, {At: at(21), VolumeML: 1}, {At: at(22), VolumeML: 1}}}
	if got := nightShare(l, time.UTC); got != 0.4 {
		t.Errorf("share of a night through midnight: %g", got)
	}
	l.Night = Night{5 * 60, 7 * 60, 0.5}
	if got := nightShare(l, time.UTC); got != 0.6 {
		t.Errorf("share of a night within a date: %g", got)
	}
	if got := nightShare(Lane{}, time.UTC); got != 0 {
		t.Errorf("share of nothing: %g", got)
	}
}

// The legend explains what is drawn and nothing else, and what is planned is wide enough to be seen as hollow.
func TestDaySVGLegend(t *testing.T) {
	d := sampleDay(time.UTC, 2027, 3, 2)
	for _, picture := range []string{DaySVG(d, time.UTC), DayFigure(d, time.UTC)} {
		for _, want := range []string{"hollow: planned", "shaded: night", "hatched: kept free"} {
			if !strings.Contains(picture, want) {
				t.Errorf("the picture does not explain %q", want)
			}
		}
	}
	for i := range d.Lanes {
		d.Lanes[i].Night = Night{}
	}
	d.Apart = nil
	d.Lanes = d.Lanes[:1]
	d.Lanes[0].Runs = []DayRun{{At: d.From.Add(time.Hour), VolumeML: 2, Seconds: 10}, {At: d.From.Add(2 * time.Hour), VolumeML: 2, Seconds: 10, Given: true}}
	picture := DayFigure(d, time.UTC)
	for _, bad := range []string{"shaded: night", "hatched:", `class="night"`} {
		if strings.Contains(picture, bad) {
			t.Errorf("the picture without nights and neighbours holds %q", bad)
		}
	}
	for _, want := range []string{`class="planned" x="154.3" y="70" width="4.5"`, `class="given" x="188.7" y="70" width="2"`} {
		if !strings.Contains(picture, want) {
			t.Errorf("the picture lacks %s:\n%s", want, picture)
		}
	}
}

// The picture is well-formed, asks nobody for anything and escapes names.
func TestDaySVGStandsAlone(t *testing.T) {
	d := sampleDay(time.UTC, 2027, 3, 2)
	d.Site, d.Lanes[0].Channel, d.Lanes[2].Why[0] = `<b>"x" & y`, `<i>&`, `<script>`
	picture := DaySVG(d, nil)
	for _, bad := range []string{"<script", "href", "<b>", "<i>", "url(http", "NaN"} {
		if strings.Contains(picture, bad) {
			t.Errorf("the picture holds %q", bad)
		}
	}
	r := xml.NewDecoder(strings.NewReader(picture))
	for {
		if _, err := r.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	if empty := DaySVG(Day{From: d.From, To: d.To}, time.UTC); strings.Contains(empty, "NaN") || strings.Contains(empty, "Inf") {
		t.Error(empty)
	}
}
