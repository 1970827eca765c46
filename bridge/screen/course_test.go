package screen

import (
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func TestCourseInWords(t *testing.T) {
	for _, c := range []struct {
		course machine.CourseView
		want   string
	}{
		{machine.CourseView{State: machine.CourseAhead, From: ptr("2027-03-03"), Ends: ptr("2027-03-06")}, "its course begins on 2027-03-03, ends on 2027-03-06"},
		{machine.CourseView{State: machine.CourseRunning, TotalML: ptr(70.0), GivenML: 21.04, Ends: ptr("2027-03-14")}, "on a course, at most 21.0 of 70 mL given, ends on 2027-03-14"},
		{machine.CourseView{State: machine.CourseRunning}, "on a course"},
		{machine.CourseView{State: machine.CourseEnded, TotalML: ptr(70.0), GivenML: 69.9}, "its course is over, at most 69.9 of 70 mL given: for another one write days and total into the configuration and accept it, else take the channel out"},
	} {
		if got := Course(&c.course); got != c.want {
			t.Errorf("%+v reads %q; want %q", c.course, got, c.want)
		}
	}
}

// A course that is over withholds nothing that anybody would have to see to, and its container lasts.
func TestACourseOnTheScreen(t *testing.T) {
	s := good()
	c, k := &s.View.Channels[0], &s.View.Containers[0]
	c.Container, k.DaysLeft, k.DaysLeftLow = k.ID, nil, nil
	for _, other := range s.View.Channels[1:] {
		if other.Container == k.ID {
			t.Fatal("the sample has two channels on that container")
		}
	}
	c.Course, c.Next = &machine.CourseView{State: machine.CourseRunning, Ends: ptr("2027-03-14")}, nil
	if text := Site(s, Ordinary, time.UTC); !strings.Contains(text, "on a course, ends on 2027-03-14") || !strings.Contains(text, "beyond the course") {
		t.Errorf("while it runs:\n%s", text)
	}
	needs := len(Needs(s.View))
	c.Course, c.Withheld = &machine.CourseView{State: machine.CourseEnded}, []machine.BlockView{{Code: safety.CourseOver, Text: "the course is over: told elsewhere"}}
	text := Site(s, Ordinary, time.UTC)
	if !strings.Contains(text, "its course is over") || strings.Contains(text, "told elsewhere") || strings.Contains(text, "withheld") || strings.Contains(text, "beyond the course") {
		t.Errorf("when it is over:\n%s", text)
	}
	if n := len(Needs(s.View)); n != needs {
		t.Errorf("the end of a course asks for somebody: %+v", Needs(s.View))
	}
}
