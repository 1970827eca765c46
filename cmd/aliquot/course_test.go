package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

// courseFile is the demo site with the potassium as a course.
func courseFile(t *testing.T, course string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "deploy", "sites", "demo.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	const at = "    fixed: 3 mL/day\n"
	if strings.Count(string(text), at) != 1 {
		t.Fatal("the demo site has another fixed channel")
	}
	file := filepath.Join(t.TempDir(), "site.yaml")
	if err := os.WriteFile(file, []byte(strings.Replace(string(text), at, at+"    course: "+course+"\n", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// A plan and the picture of a day show what belongs to a course: nothing before and after it, and no more than its total.
func TestPlanOfACourse(t *testing.T) {
	t.Parallel()
	history := filepath.Join("testdata", "plan", "history.jsonl")
	for _, c := range []struct {
		course string
		least  float64
		most   float64
		code   string
	}{
		{"{from: 2027-03-01, until: 2027-03-05}", 2.9, 3, ""},
		{"{from: 2027-03-01, until: 2027-03-04}", 0, 0, "course_over"},
		{"{from: 2027-03-07}", 0, 0, "course_not_begun"},
		{"{from: 2027-03-05, total: 2.1 mL}", 1.9, 2, ""},
	} {
		t.Run(c.course, func(t *testing.T) {
			t.Parallel()
			file := courseFile(t, c.course)
			args := []string{"plan", "-c", file, "--history", history, "--at", "2027-03-05T06:00:00Z"}
			var plan machine.PlanView
			if err := json.Unmarshal([]byte(must(t, append(args, "--format", "json")...)), &plan); err != nil {
				t.Fatal(err)
			}
			sum := 0.0
			for _, r := range plan.Runs {
				if r.Channel == "potassium" {
					sum += r.VolumeML
				}
			}
			if sum < c.least || sum > c.most {
				t.Errorf("planned %v mL; want %v to %v", sum, c.least, c.most)
			}
			withheld := ""
			for _, w := range plan.Withheld {
				if w.Channel == "potassium" {
					withheld += string(w.Code)
				}
			}
			if withheld != c.code {
				t.Errorf("withheld %q; want %q", withheld, c.code)
			}
			if day := must(t, append(args, "--day", "2027-03-05")...); (c.code == "") == strings.Contains(day, "the course ") {
				t.Errorf("the day reads:\n%s", day)
			}
			if text := must(t, "check", "-c", file); !strings.Contains(text, "fixed 3 mL a day from 2027-03-") {
				t.Errorf("check says nothing of the course:\n%s", text)
			}
		})
	}
}

// The real service keeps to a course's total over its own death, says how far it is, and takes a larger one with a word only.
func TestINV1_H36_ACourseOverDeathAndReload(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "course")
	r.commission()
	begun := r.quay.now.AddDate(0, 0, -1).UTC().Format(time.DateOnly)
	r.rewrite(replaced("fixed: 2 mL/day\n", "fixed: 2 mL/day\n    course: {from: "+begun+", total: 8 mL}\n"))
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	run := func(ml string) reply {
		return r.ask(machine.VerbRun, `"channel":"trace","kind":"test","volume_ml":`+ml)
	}
	mark := r.spy.mark()
	r.awaitEnd(mark, runOf(t, run("4")), machine.Finished)
	if a := run("3"); a.Code != string(safety.Started) {
		t.Fatalf("the second run: %s (%s)", a.Text, a.Code)
	}
	mark = r.spy.mark()
	r.isDead(p)
	r.spy.await(mark, "the relay's own end of the run", on("course/timed/state", `"on":false`))

	p = r.daemon("")
	r.owns(p)
	if a := run("2"); a.Code != string(safety.CourseOver) {
		t.Errorf("past the total: %s (%s)", a.Text, a.Code)
	}
	if got := command(t, "give", "trace", "1mL", "--test", "-c", r.config); got.code != exitFailed || !contains(got.err, "of the course's total of 8 mL, 7.35 mL may have been given") {
		t.Errorf("giving by hand: %s", got)
	}
	r.spy.await(0, "the end of the course", on(r.topic("alert/course-over-trace"), `"raised":true`))
	if said := must(t, "status", "-c", r.config); !contains(said, "its course is over, at most 7.35 of 8 mL given") {
		t.Errorf("status says nothing of the course:\n%s", said)
	}

	r.rewrite(replaced("total: 8 mL", "total: 80 mL"))
	mark = r.spy.mark()
	r.from = mark
	p.reload()
	p.awaitTimes("this instance owns the site", 2)
	r.confirmsClock()
	r.spy.await(mark, "the larger course waits", on(r.topic("state/channel/trace"), "channels.trace.course.total was 8 mL and is 80 mL"))
	if a := run("2"); a.Code != string(safety.NotAccepted) {
		t.Errorf("a larger course that nobody accepted: %s (%s)", a.Text, a.Code)
	}
	if a := r.ask(machine.VerbAccept, `"what":"configuration"`); !a.OK {
		t.Errorf("accepting: %s (%s)", a.Text, a.Code)
	}
	if a := run("2"); a.Code != string(safety.ChannelBusy) { // the run of the first service may still be under way
		t.Errorf("within the larger course: %s (%s)", a.Text, a.Code)
	}
}
