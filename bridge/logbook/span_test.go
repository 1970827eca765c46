package logbook

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

var (
	from = time.Date(2027, 3, 1, 0, 0, 0, 0, lisbon)
	to   = time.Date(2027, 4, 1, 0, 0, 0, 0, lisbon)
)

// both is march with its care in between.
func both() []machine.Row {
	d := &diary{}
	all, more := march(), care()
	for len(all)+len(more) > 0 {
		if len(more) == 0 || (len(all) > 0 && all[0].At.Before(more[0].At)) {
			d.add(all[0].At, all[0].By, all[0].Body)
			all = all[1:]
			continue
		}
		d.add(more[0].At, more[0].By, more[0].Body)
		more = more[1:]
	}
	return d.rows
}

func TestGather(t *testing.T) {
	s := Gather(shed(), march(), from, to, to)
	q, c, k := s.Quantities[0], s.Channels[0], s.Containers[0]
	if len(q.Samples) < 31*6-1 || len(q.Samples) > 31*6+1 {
		t.Errorf("%d samples in a month", len(q.Samples))
	}
	if len(q.Tests) != 10 || !q.Tests[4].Held || q.Tests[3].Held || q.Tests[0].By != "nele" {
		t.Errorf("tests: %+v", q.Tests)
	}
	last := q.Samples[len(q.Samples)-1]
	if last.Known == nil || last.KnownSD == nil || last.KnownUse == nil || math.Abs(*last.Known-8.2) > 0.3 {
		t.Errorf("the last sample is %+v", last)
	}
	if len(c.Days) != 31 || c.Runs != 31*4 || c.Odd != 1 || math.Abs(c.TotalML-(31*4*24+24)) > 1e-9 {
		t.Errorf("%d days, %d runs, %d odd, %g mL", len(c.Days), c.Runs, c.Odd, c.TotalML)
	}
	for i, ml := range c.Days {
		if want := map[bool]float64{true: 120, false: 96}[i == 11]; ml != want {
			t.Errorf("day %d: %g mL, want %g", i+1, ml, want)
		}
	}
	if k.Refills != 0 || len(k.Contents) != len(q.Samples) || k.Contents[0].ML <= k.Contents[100].ML {
		t.Errorf("%d refills, %d contents", k.Refills, len(k.Contents))
	}
	if len(s.Trouble) != 1 || len(c.Calibrations) != 1 || math.Abs(c.Calibrations[0].RateMLPerMin-10) > 0.01 || c.Calibrations[0].ChangeShare != nil {
		t.Errorf("trouble %+v, calibrations %+v", s.Trouble, c.Calibrations)
	}
	if _, err := json.Marshal(s); err != nil {
		t.Error(err)
	}
}

func TestGatherCare(t *testing.T) {
	s := Gather(shed(), both(), from, to, to)
	c := s.Channels[0]
	if n := len(c.Calibrations); n != 2 || c.Calibrations[1].ChangeShare == nil || math.Abs(*c.Calibrations[1].ChangeShare+0.07) > 0.005 {
		t.Errorf("calibrations: %+v", c.Calibrations)
	}
	if s.Containers[0].Refills != 2 {
		t.Errorf("%d refills", s.Containers[0].Refills)
	}
	if c.Runs != 31*4+1 { // a run into a vessel is none into the tank
		t.Errorf("%d runs", c.Runs)
	}
	for _, e := range s.Care {
		if e.Kind == "test" || e.Class != Care {
			t.Errorf("care: %+v", e)
		}
	}
	if !strings.Contains(s.troubleSentence(), "1 alert, 3 lockouts, 3 runs that did not end as told") {
		t.Error(s.troubleSentence())
	}
}

// What is behind now is not known, and a month before there was anything is empty.
func TestGatherIncomplete(t *testing.T) {
	now := from.AddDate(0, 0, 10)
	var rows []machine.Row
	for _, r := range march() {
		if r.At.Before(now) {
			rows = append(rows, r)
		}
	}
	s := Gather(shed(), rows, from, to, now)
	for _, x := range s.Quantities[0].Samples {
		if x.At.After(now) {
			t.Fatalf("a sample of %s, known up to %s", x.At, now)
		}
	}
	if s.Channels[0].Days[9] != 96 || s.Channels[0].Days[10] != 0 {
		t.Errorf("days: %v", s.Channels[0].Days)
	}
	before := Gather(shed(), march(), from.AddDate(-1, 0, 0), to.AddDate(-1, 0, 0), now)
	if q := before.Quantities[0]; len(q.Tests) != 0 || series(q.Samples, believed) != nil || before.Channels[0].TotalML != 0 || len(before.Channels[0].Calibrations) != 0 {
		t.Errorf("a month before everything: %+v", before)
	}
	if !strings.Contains(before.sentence(before.Quantities[0]), "nothing is known") {
		t.Error(before.sentence(before.Quantities[0]))
	}
}

// A page is well-formed, the same each time, asks nobody for anything and escapes what people typed.
func TestPage(t *testing.T) {
	for name, rows := range map[string][]machine.Row{"everything": both(), "nothing": nil} {
		s := Gather(shed(), rows, from, to, to.AddDate(0, 0, 3))
		s.Notes = append(s.Notes, hostile)
		var a, b strings.Builder
		if err := errors.Join(s.Page(&a, "harbour-shed, March 2027"), s.Page(&b, "harbour-shed, March 2027")); err != nil {
			t.Fatal(err)
		}
		page := a.String()
		if page != b.String() {
			t.Errorf("%s: the same rows give other bytes", name)
		}
		for _, bad := range []string{"<script", "http-equiv", "url(http", "@import", "<link", "NaN", "ZgotmplZ", "<b>"} {
			if strings.Contains(page, bad) {
				t.Errorf("%s: the page holds %q", name, bad)
			}
		}
		wellFormed(t, name, page)
		want := []string{"In short", "What asked for somebody", "1 March 2027 to 31 March 2027."}
		if rows != nil {
			want = append(want, "look at the tubing", "held: 11.60", "cap in 24 h", "@page", "as known now, with its 90 % interval", "livestock added")
		}
		for _, w := range want {
			if !strings.Contains(page, w) {
				t.Errorf("%s: the page does not say %q", name, w)
			}
		}
	}
}

func wellFormed(t *testing.T, name, page string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(strings.TrimPrefix(page, "<!DOCTYPE html>")))
	d.Entity = xml.HTMLEntity
	ids := map[string]bool{}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		for _, a := range e.Attr {
			if a.Name.Local == "id" && ids[a.Value] {
				t.Errorf("%s: the id %s is there twice", name, a.Value)
			}
			if a.Name.Local == "id" {
				ids[a.Value] = true
			}
			if a.Name.Local == "class" && !regexp.MustCompile(`\.`+a.Value+`\b`).MatchString(page) {
				t.Errorf("%s: the class %s has no style", name, a.Value)
			}
		}
	}
}

// The days of a month with a clock change are still days.
func TestDayIndex(t *testing.T) {
	for _, c := range []struct {
		at   time.Time
		want int
	}{{from, 0}, {from.Add(24*time.Hour - time.Second), 0}, {from.AddDate(0, 0, 1), 1}, {to.Add(-time.Second), 30}, {time.Date(2027, 3, 28, 0, 30, 0, 0, lisbon), 27}, {time.Date(2027, 3, 28, 2, 30, 0, 0, lisbon), 27}, {time.Date(2027, 3, 29, 0, 0, 0, 0, lisbon), 28}} {
		if got := dayIndex(from, c.at, lisbon); got != c.want {
			t.Errorf("%s is day %d, want %d", c.at, got, c.want)
		}
	}
}

// The course of the invented channel begins on 10 March; each of its four runs a day counts at most 25.2 mL, but the one of
// the 12th, whose end nobody saw, 48.
func TestMonthNamesACourse(t *testing.T) {
	site := shed()
	site.Channels[0].Course = safety.Course{From: time.Date(2027, 3, 10, 0, 0, 0, 0, time.UTC), Total: 4000 * safety.Millilitre}
	from := time.Date(2027, 3, 1, 0, 0, 0, 0, lisbon)
	to := time.Date(2027, 3, 20, 0, 0, 0, 0, lisbon)
	s := Gather(site, march(), from, to, to.AddDate(0, 0, 20))
	k := s.Channels[0].Course
	if want := 10*4*25.2 + 48 - 25.2; k == nil || math.Abs(k.GivenHiML-want) > 0.01 || k.TotalML == nil || *k.TotalML != 4000 {
		t.Fatalf("course %+v, want %v of 4000 mL", k, want)
	}
	if got := fmt.Sprint(channelFigures(s.Channels[0])); !strings.Contains(got, "of its course by then at most 1031 of 4000 mL") {
		t.Error(got)
	}
	if k := Gather(shed(), march(), from, to, to).Channels[0].Course; k != nil {
		t.Errorf("no course is declared: %+v", k)
	}
}
