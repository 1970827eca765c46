package machine

import (
	"math"
	"time"

	"aliquot/planner"
	"aliquot/safety"
)

// A course counts what the ledger says may have gone into the tank since its first day, whoever asked for the run. The count
// is folded from rows like everything else, so that neither a crash nor a new configuration forgets any of it.

// sinceCourse says whether what is reserved at a moment counts to the channel's course.
func (s *State) sinceCourse(c *channelState, at time.Time) bool {
	from := c.cfg.Course.From
	return from.IsZero() || !safety.LocalDay(at, s.site.Zone).Before(from) // a fold asks it of each run: a calendar costs more than the rest
}

// courseHi is the most that may have gone into the tank since the first day of the course, up to now.
func (s *State) courseHi(c *channelState) safety.Microlitres {
	if r := c.open; r != nil && r.Into != IntoVessel {
		return c.courseHi + s.overrun(c)
	}
	return c.courseHi
}

// courseBlock is why the course has no place for any run now.
func (s *State) courseBlock(c *channelState) (safety.Block, bool) {
	if !c.cfg.Course.Declared() {
		return safety.Block{}, false
	}
	ask, day := s.askSmallest(c), safety.LocalDay(s.clock.Wall(), s.site.Zone)
	b, against := c.cfg.Course.Against(day, s.courseHi(c), ask.Tolerance.Above(max(ask.Worst, ask.Volume)))
	if against && c.cfg.Course.On(day) == "" {
		b.Text = c.cfg.Course.Ended(s.courseHi(c)) // not even the smallest run fits
	}
	return b, against
}

// courseOver says that the channel gives nothing any more until its configuration changes.
func (s *State) courseOver(c *channelState) bool {
	b, against := s.courseBlock(c)
	return against && b.Code == safety.CourseOver
}

// offCourse says of a code that it belongs to a course that has not begun or is over.
func offCourse(code safety.Code) bool {
	return code == safety.CourseNotBegun || code == safety.CourseOver
}

// courseConditions tells once that a course has ended, since nothing else would.
func (t *turn) courseConditions(c *channelState, add adder) {
	if !c.cfg.Course.Declared() || !t.clock.Trusted() {
		return
	}
	if b, against := t.courseBlock(c); against && b.Code == safety.CourseOver {
		add("course-over-"+c.cfg.ID, Notice, "channel %s: %s", c.cfg.ID, b.Text)
	}
}

// CourseGiven is what a channel's course has come to by the rows: the most that may have gone into the tank since its first
// day, and the total that ends it (0: none); ok is false where no course is declared.
func CourseGiven(s *State, channel int) (given, total safety.Microlitres, ok bool) {
	c := &s.channels[channel]
	return s.courseHi(c), c.cfg.Course.Total, c.cfg.Course.Declared()
}

// CourseView is a channel's course. Days are local dates; null: none is declared.
type CourseView struct {
	State   string   `json:"state"` // ahead, running or over
	From    *string  `json:"from"`
	Until   *string  `json:"until"`
	TotalML *float64 `json:"total_ml"`
	GivenML float64  `json:"given_hi_ml"` // into the tank since its first day, the most that it can have been
	// Ends is the last day as it looks now: by its date, or when the plan comes to its total; null where neither is known.
	Ends *string `json:"ends"`
}

// Words for the state of a course.
const (
	CourseAhead   = "ahead"
	CourseRunning = "running"
	CourseEnded   = "over"
)

func (s *State) courseView(c *channelState) *CourseView {
	k := c.cfg.Course
	if !k.Declared() {
		return nil
	}
	v := CourseView{State: CourseRunning, From: dateText(k.From), Until: dateText(k.Until), GivenML: s.courseHi(c).Millilitres()}
	if k.Total > 0 {
		total := k.Total.Millilitres()
		v.TotalML = &total
	}
	b, against := s.courseBlock(c)
	switch {
	case against && b.Code == safety.CourseNotBegun:
		v.State = CourseAhead
	case against:
		v.State = CourseEnded
		return &v
	}
	v.Ends = dateText(s.courseEnds(c))
	return &v
}

func dateText(day time.Time) *string {
	if day.IsZero() {
		return nil
	}
	text := day.Format(time.DateOnly)
	return &text
}

// courseEnds is the last day of a course as it looks now; zero where nothing ends it.
func (s *State) courseEnds(c *channelState) time.Time {
	k, now := c.cfg.Course, s.clock.Wall()
	begin, end := s.courseDays(c, s.coming(c, c.day.PerDay).Millilitres()*(1+float64(c.tolerance)/1000))
	if !(end < aheadMost) {
		return time.Time{}
	}
	last := safety.LocalDay(now.Add(days(max(begin, end))), s.site.Zone)
	if !k.Until.IsZero() && !last.Before(k.Until) {
		return k.Until
	}
	return last
}

func days(n float64) time.Duration { return time.Duration(n * 24 * float64(time.Hour)) }

// coming is what a channel takes in a day while its course runs, where the plan of today is perDay.
func (s *State) coming(c *channelState, perDay safety.Microlitres) safety.Microlitres {
	if b, against := s.courseBlock(c); against && b.Code == safety.CourseNotBegun && c.cfg.Mode == planner.Fixed {
		return max(perDay, c.baseVolume())
	}
	return perDay
}

// courseDays is in how many days from now a course begins and ends, if it gives so many mL in a day: 0 where it has begun,
// infinite where nothing ends it.
func (s *State) courseDays(c *channelState, perDay float64) (begin, end float64) {
	k, now := c.cfg.Course, s.clock.Wall()
	until := func(day time.Time) float64 {
		y, m, d := day.Date()
		return max(0, time.Date(y, m, d, 0, 0, 0, 0, s.site.Zone).Sub(now).Hours()/24)
	}
	end = math.Inf(1)
	if !k.From.IsZero() {
		begin = until(k.From)
	}
	if !k.Until.IsZero() {
		end = until(k.Until.AddDate(0, 0, 1))
	}
	if left, ends := k.Left(s.courseHi(c)); ends {
		end = min(end, begin+left.Millilitres()/perDay)
	}
	return begin, end
}

// draw is what a channel takes out of its container: so many mL a day between two moments, in days from now.
type draw struct{ perDay, begin, end float64 }

// draws are what the channels of a container take out of it, each so much in a day.
func (s *State) draws(k *containerState, takes func(*channelState) safety.Microlitres) []draw {
	var out []draw
	for _, i := range s.index.from[k.cfg.ID] {
		out = append(out, s.drawOf(&s.channels[i], takes(&s.channels[i])))
	}
	return out
}

func (s *State) drawOf(c *channelState, perDay safety.Microlitres) draw {
	if !c.cfg.Course.Declared() {
		return draw{perDay.Millilitres(), 0, math.Inf(1)}
	}
	d := draw{perDay: s.coming(c, perDay).Millilitres()}
	d.begin, d.end = s.courseDays(c, d.perDay)
	return d
}

// daysFor is in how many days so many mL are used up; infinite if they never are.
func daysFor(ml float64, draws []draw) float64 {
	for at := 0.0; ; {
		rate, next := 0.0, math.Inf(1)
		for _, d := range draws {
			if d.begin <= at && at < d.end {
				rate += d.perDay
			}
			for _, edge := range []float64{d.begin, d.end} {
				if edge > at {
					next = min(next, edge)
				}
			}
		}
		if rate > 0 && ml <= rate*(next-at) {
			return at + max(0, ml)/rate
		}
		if math.IsInf(next, 1) {
			return next
		}
		ml -= rate * (next - at)
		at = next
	}
}
