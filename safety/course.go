package safety

import (
	"fmt"
	"time"
)

// Course bounds what a channel gives in all: by its first day, its last day, and a total. Its zero value bounds
// nothing. Dates are local, written as midnight UTC.
type Course struct {
	From  time.Time   // the first day; zero: it has begun
	Until time.Time   // the last day, which belongs to it; zero: no day ends it
	Total Microlitres // the most that may go into the tank from the first day on; 0: no total ends it
}

// Declared says whether anything bounds the channel.
func (c Course) Declared() bool { return c != Course{} }

// On says whether a local day, written as midnight UTC, belongs to the course: empty, or why not.
func (c Course) On(day time.Time) Code {
	switch {
	case day.Before(c.From):
		return CourseNotBegun
	case !c.Until.IsZero() && day.After(c.Until):
		return CourseOver
	}
	return ""
}

// Left is what may still go into the tank after so much may have; false where no total ends the course.
func (c Course) Left(given Microlitres) (Microlitres, bool) {
	return max(0, c.Total-given), c.Total > 0
}

// Against gives the reason that a course is against a run that can move hi, on a day on which so much may have been given.
func (c Course) Against(day time.Time, given, hi Microlitres) (Block, bool) {
	const spare = "until then only runs into a vessel"
	left, ends := c.Left(given)
	switch code := c.On(day); {
	case code == CourseNotBegun:
		return Block{Code: code, Text: fmt.Sprintf("the course begins on %s; %s", c.From.Format(time.DateOnly), spare)}, true
	case code != "":
		return Block{Code: code, Text: fmt.Sprintf("the course is over: %s was its last day; %s", c.Until.Format(time.DateOnly), afterCourse)}, true
	case ends && left == 0:
		return Block{Code: CourseOver, Text: c.Ended(given)}, true
	case ends && hi > left:
		return Block{Code: CourseOver, Text: fmt.Sprintf("of the course's total of %s, %s may have been given, and a run that can add %s no longer fits", c.Total, given, hi)}, true
	}
	return Block{}, false
}

// Ended says that the total of a course is given, or as good as given: no run fits any more.
func (c Course) Ended(given Microlitres) string {
	return fmt.Sprintf("the course is over: of its total of %s, %s may have been given; %s", c.Total, given, afterCourse)
}

// afterCourse is what somebody can do about a course that is over.
const afterCourse = "for another one write its days and its total into the configuration and accept it"

// LocalDay is the local date of a moment, written as midnight UTC.
func LocalDay(at time.Time, zone *time.Location) time.Time {
	at = at.In(zone)
	return time.Date(at.Year(), at.Month(), at.Day(), 0, 0, 0, 0, time.UTC)
}
