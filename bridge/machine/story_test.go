package machine_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

var update = flag.Bool("update", false, "rewrite the stories' outputs")

// A story is a text file. A line that begins with # is a sentence for the reader; "zone", "scale" and "start" set the
// scene; every other line that is not indented is an event: a true time (UTC, or + a duration) and what happens.
// Indented lines are what came out until the next event, written by -update.
//
// A command that ends in "summary" has its outputs counted instead of listed.
func TestStories(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no stories: %v", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			was, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			is := playStory(t, string(was))
			if *update && is != string(was) {
				if err := os.WriteFile(file, []byte(is), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if is != string(was) {
				t.Errorf("the story went another way (-update rewrites it):\n%s", firstDifference(string(was), is))
			}
		})
	}
}

type story struct {
	t       *testing.T
	r       *rig
	out     strings.Builder
	zone    *time.Location
	scale   string // the container that stands on one
	start   time.Time
	lines   []string // what came out since the last event
	summary bool
	counts  tally
	runs    map[string]string // id -> short name
	alerts  map[string]string // name -> level, as shown last
	stops   []string          // of the present moment, not yet written
	stopsAt time.Time
	last    machine.Request
}

// playStory plays the events of a story and gives it back with what came out.
func playStory(t *testing.T, text string) string {
	s := &story{t: t, zone: time.UTC, runs: map[string]string{}, alerts: map[string]string{}}
	for _, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		switch {
		case strings.HasPrefix(line, " "):
		case line == "" || strings.HasPrefix(line, "#"):
			s.flush()
			s.out.WriteString(line + "\n")
		case s.scene(line):
			s.out.WriteString(line + "\n")
		default:
			s.event(line)
		}
	}
	s.flush()
	if s.r != nil {
		s.r.check.caps(s.r)
		if !s.r.appendFails {
			s.r.check.refolds(s.r)
		}
	}
	return s.out.String()
}

func (s *story) scene(line string) bool {
	word, rest, _ := strings.Cut(line, " ")
	var err error
	switch word {
	case "zone":
		s.zone, err = time.LoadLocation(rest)
	case "scale":
		s.scale = rest
	case "start":
		s.start, err = time.Parse(time.RFC3339, rest)
		site := lagoon(s.zone)
		for i := range site.Containers {
			site.Containers[i].Level = site.Containers[i].ID == s.scale
		}
		s.r = newRig(s.t, site, s.start)
		s.r.told = s.tell
	default:
		return false
	}
	if err != nil {
		s.t.Fatalf("%s: %v", line, err)
	}
	return true
}

// event lets time pass up to it, then has it happen.
func (s *story) event(line string) {
	when, what, ok := strings.Cut(line, " ")
	if !ok || s.r == nil {
		s.t.Fatalf("not understood, or before the start: %q", line)
	}
	if d, ok := strings.CutPrefix(when, "+"); ok {
		wait, err := time.ParseDuration(d)
		if err != nil {
			s.t.Fatalf("%s: %v", line, err)
		}
		s.r.advance(wait)
	} else {
		at, err := time.Parse("01-02T15:04:05", when)
		if err != nil {
			s.t.Fatalf("%s: %v", line, err)
		}
		s.r.until(at.AddDate(s.start.Year(), 0, 0))
	}
	s.flush()
	s.out.WriteString(line + "\n")
	what, s.summary = strings.CutSuffix(what, " summary")
	s.r.coarse = 15 * time.Second
	if s.summary {
		s.r.coarse = 5 * time.Minute // a long time, and nobody looks closely
	}
	s.happen(what)
}

// flush writes what came out since the last event.
func (s *story) flush() {
	s.flushStops()
	if s.summary {
		s.lines = append(s.lines, s.counts.lines()...)
	}
	for _, l := range s.lines {
		for id, name := range s.runs {
			l = strings.ReplaceAll(l, id, name)
		}
		s.out.WriteString("    " + strings.TrimRight(l, " ") + "\n")
	}
	s.lines, s.counts, s.summary = nil, tally{}, false
}

func (s *story) say(format string, args ...any) {
	if !s.summary {
		s.lines = append(s.lines, s.r.trueTime().Format("01-02T15:04:05")+" "+fmt.Sprintf(format, args...))
	}
}

// note says something whatever is summed up.
func (s *story) note(format string, args ...any) {
	s.lines = append(s.lines, fmt.Sprintf(format, args...))
}

func (s *story) flushStops() {
	if len(s.stops) > 0 {
		stops := s.stops
		s.stops = nil
		if !s.summary {
			s.lines = append(s.lines, s.stopsAt.Format("01-02T15:04:05")+" stop "+strings.Join(stops, ", "))
		}
	}
}

// tell writes down an effect as it is performed.
func (s *story) tell(at time.Time, e machine.Effect) {
	if stop, ok := e.(machine.StopRuns); ok {
		s.counts.stops++
		if !s.stopsAt.Equal(at) {
			s.flushStops()
		}
		s.stopsAt = at
		s.stops = append(s.stops, fmt.Sprintf("%s/%d %s", stop.Node, stop.Output, stop.Run))
		return
	}
	s.flushStops()
	switch e := e.(type) {
	case machine.Append:
		s.wrote(e.Rows)
	case machine.SendRun:
		if s.runs[e.Run] == "" { // a run that is announced first was not asked for, or is never sent: x1, x2 …
			s.runs[e.Run] = fmt.Sprintf("r%d", len(s.runs)+1)
		}
		s.counts.sent(e.Channel, e.Volume)
		slot := ""
		if e.Slot != "" {
			slot = ", slot " + e.Slot
		}
		s.say("send %s %s %s in %.1f s into the %s%s", e.Channel, e.Run, e.Volume, e.Duration.Seconds(), e.Into, slot)
	case machine.ClearRetained:
		s.say("clear %s/%d stop topic %v", e.Node, e.Output, e.Stop)
	case machine.Answer:
		s.say("answer %s: %s", e.Code, e.Text)
	case machine.Problem:
		s.say("problem %s %s: %s", e.Topic, e.Code, e.Text)
	case machine.Happened:
		s.happened(e)
	case machine.ShowAlert:
		s.alert(e.AlertView)
	}
}

// wrote names the rows that a reader of the story cares for.
func (s *story) wrote(rows []machine.Row) {
	var kinds []string
	for _, r := range rows {
		switch r.Body.(type) {
		case machine.AlertChanged, machine.ProbeMean:
		default:
			kinds = append(kinds, r.Body.Kind())
		}
	}
	if len(kinds) > 0 {
		s.say("ledger %s", strings.Join(kinds, ", "))
	}
}

func (s *story) happened(h machine.Happened) {
	switch d := h.Data.(type) {
	case machine.RunEvent:
		if _, known := s.runs[d.Run]; !known {
			s.runs[d.Run] = fmt.Sprintf("x%d", len(s.runs)+1)
		}
		if h.Kind == "run_ended" {
			s.counts.ended(d.Outcome)
			s.say("ended %s %s %s, %.3f to %.3f mL %s", d.Channel, d.Run, d.Outcome, d.LoML, d.HiML, d.Reason)
		}
	case machine.WithheldEvent:
		s.counts.withheld(d)
		s.say("withheld %s %s: %s %s", d.Channel, d.Slot, d.Code, d.Text)
	case machine.InterlockView:
		s.say("interlock %s active %v, no data %v", d.Name, d.Active, d.NoData)
	case machine.ProofEvent:
		s.say("proof of %s: on for %.1f s", d.Node, d.OnForSeconds)
	}
}

func (s *story) alert(a machine.AlertView) {
	level := ""
	if a.Raised {
		level = a.Level
	}
	if s.alerts[a.Name] == level {
		return
	}
	s.alerts[a.Name] = level
	if a.Raised {
		s.note("%s alert %s %s: %s", s.r.trueTime().Format("01-02T15:04:05"), a.Level, a.Name, a.Text)
	} else {
		s.note("%s alert over %s", s.r.trueTime().Format("01-02T15:04:05"), a.Name)
	}
}

// ask reads a request as it would come over the broker, without its checks.
func (s *story) ask(verb, text string) {
	q := machine.Request{}
	if text != "" {
		if err := json.Unmarshal([]byte(text), &q); err != nil {
			s.t.Fatalf("%s: %v", text, err)
		}
	}
	s.r.refs++
	if q.Ref == "" {
		q.Ref = fmt.Sprintf("k%d", s.r.refs)
	}
	q.Verb = machine.Verb(verb)
	s.last = q
	s.r.step(machine.Asked{Request: q})
}
