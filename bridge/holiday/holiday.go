package holiday

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"time"

	"aliquot/bridge/machine"
)

// reserveDays is how much longer than the holiday a container shall last by itself: whoever comes home late, or tired, need
// not fill anything on the same evening. Our own choice.
const reserveDays = 2

// Holiday is a span in which nobody tends a site but a helper.
type Holiday struct {
	Site    string          `json:"site"`
	From    time.Time       `json:"from"`
	Until   time.Time       `json:"until"`
	Outlook machine.Outlook `json:"outlook"`
	// Before is what to do before leaving, in the order in which it is done.
	Before  []string `json:"before"`
	During  []Due    `json:"during"`  // what falls into the holiday, by time
	Refills []Refill `json:"refills"` // by time
	// Without is what happens to each quantity without a test.
	Without []string `json:"without_tests"`

	zone *time.Location
}

// Due is something that falls into the holiday.
type Due struct {
	At   time.Time `json:"at"`
	What string    `json:"what"`
}

// Refill is what a helper has to fill in because a full container does not last.
type Refill struct {
	Container string    `json:"container"`
	By        time.Time `json:"by"`
	ML        float64   `json:"ml"`
}

// Plan looks at a holiday of a site from the outlook's moment on.
func Plan(site string, o machine.Outlook, from, until time.Time, zone *time.Location) Holiday {
	h := Holiday{Site: site, From: from.UTC(), Until: until.UTC(), Outlook: o, Before: []string{}, During: []Due{}, Refills: []Refill{}, Without: []string{}, zone: zone}
	for _, c := range o.Channels {
		for _, b := range c.Blocked {
			h.before("channel %s does not run now (%s): %s", c.ID, b.Code, b.Text)
		}
	}
	for _, k := range o.Containers {
		h.container(k)
	}
	for _, c := range o.Channels {
		if c.CourseBegins != nil {
			h.during(*c.CourseBegins, "the course of channel %s begins by itself", c.ID)
		}
		if c.CourseEnds != nil {
			h.during(*c.CourseEnds, "the course of channel %s ends by itself", c.ID)
		}
		h.grows(c.CalibrationOld, "calibrate channel "+c.ID, "the calibration of channel "+c.ID+" is old: a reminder comes, and it doses on")
		h.grows(c.TubingWorn, "change the pump tubing of channel "+c.ID+", say aliquot tube "+c.ID+", then prime and calibrate", "the pump tubing of channel "+c.ID+" has run for as long as it is good for: a warning comes, and it doses on")
	}
	for _, p := range o.Proofs {
		what := "the proof that node " + p.Node + " goes off by itself is too old: its channels do not run until somebody proves it again"
		if p.Expires == nil {
			h.before("node %s has no proof that it goes off by itself: aliquot prove %s", p.Node, p.Node)
		} else {
			h.grows(p.Expires, "prove node "+p.Node+" again: aliquot prove "+p.Node, what)
		}
	}
	for _, q := range o.Quantities {
		h.tests(q)
	}
	h.before("see that alerts reach somebody: aliquot notify --test, and tell the helper what they look like")
	h.before("change nothing else in the last days: no new supplement, no new target")
	h.before("give the helper the sheet (--sheet FILE.html), and show where the pumps' plug is")
	sort.SliceStable(h.During, func(i, j int) bool { return h.During[i].At.Before(h.During[j].At) })
	sort.SliceStable(h.Refills, func(i, j int) bool { return h.Refills[i].By.Before(h.Refills[j].By) })
	return h
}

func (h *Holiday) before(format string, args ...any) {
	h.Before = append(h.Before, fmt.Sprintf(format, args...))
}

// during notes what happens within the holiday; what is over when it begins is not part of it.
func (h *Holiday) during(at time.Time, format string, args ...any) {
	if !at.Before(h.From) && at.Before(h.Until) {
		h.During = append(h.During, Due{at.UTC(), fmt.Sprintf(format, args...)})
	}
}

// grows is of what grows old: whatever does so before the return is better done before leaving.
func (h *Holiday) grows(at *time.Time, do, what string) {
	if at == nil || !at.Before(h.Until) {
		return
	}
	h.before("%s (%s)", do, h.due(*at))
	h.during(*at, "%s", what)
}

func (h *Holiday) due(at time.Time) string {
	if !at.After(h.Outlook.At) {
		return "it is due already"
	}
	return "due " + h.Day(at)
}

// container says what to fill in before leaving, and what a helper has to.
func (h *Holiday) container(k machine.ContainerAhead) {
	back := h.Until.Add(reserveDays * 24 * time.Hour)
	_, ahead := k.Takes(h.Outlook.At, back)
	switch {
	case !k.Known:
		h.before("say what container %s holds: aliquot refill %s --full; nothing runs from it until then", k.ID, k.ID)
		return
	case !(ahead > 0):
		return
	}
	plan, gone := k.Takes(h.Outlook.At, h.From)
	_, away := k.Takes(h.From, back)
	left, most, wanted := max(k.LeastML-gone, 0), max(0, k.MostML-plan), k.StopML+away
	fill := math.Floor(min(max(0, k.CapacityML-most), up(wanted-left)))
	if fill >= 1 {
		h.before("fill about %.0f mL into container %s just before leaving, never above its full mark, and say how much it was: aliquot refill %s %.0fmL", fill, k.ID, k.ID, fill)
		left, most = left+fill, most+fill
	}
	h.refills(k, left, most)
}

// refills lists what a helper fills in, each time a day before it is needed if as much is used as may be, and never more than
// has room if only the plan is used.
func (h *Holiday) refills(k machine.ContainerAhead, left, most float64) {
	from := h.From
	for at := h.From; ; {
		empty, ends := k.Lasts(at, left-k.StopML)
		if !ends || !empty.Before(h.Until) {
			return
		}
		at = empty
		by := at.Add(-24 * time.Hour)
		if by.Before(from) {
			by = from
		}
		// On that day a day's use is still in it, and what was not used by the plan.
		plan, _ := k.Takes(from, by)
		most = max(0, most-plan)
		_, day := k.Takes(at, at.Add(24*time.Hour))
		_, ahead := k.Takes(at, h.Until.Add(reserveDays*24*time.Hour))
		more := math.Floor(min(k.CapacityML-k.StopML-day, k.CapacityML-most, up(ahead)))
		if len(h.Refills) >= refillsMost || !(more > min(day, ahead)) {
			h.before("container %s is too small for this holiday: full, it lasts for %.1f days; use a larger one", k.ID, (k.CapacityML-k.StopML)/day)
			return
		}
		h.Refills = append(h.Refills, Refill{k.ID, by.UTC(), more})
		left, most, from = k.StopML+more, most+more, by
	}
}

// refillsMost bounds the list: a container that a helper fills so often is too small.
const refillsMost = 40

// tests says what happens to a quantity that nobody tests, if one is tested on the day of leaving and if not.
func (h *Holiday) tests(q machine.QuantityAhead) {
	name := q.Quantity + " of " + q.System
	if q.Due != nil && q.Due.Before(h.Until) {
		h.during(*q.Due, "a test of %s is due", name)
	}
	if q.Stale != nil && q.Stale.Before(h.Until) {
		h.during(*q.Stale, "the last test of %s is too old to correct by, unless it is tested again", name)
	}
	if q.Ancient != nil && q.Ancient.Before(h.Until) {
		h.during(*q.Ancient, "the last test of %s is twice too old, unless it is tested again", name)
	}
	if len(q.Followed) == 0 {
		return
	}
	who := "channel " + strings.Join(q.Followed, ", ")
	if q.LastTest == nil {
		h.before("test %s: it was never tested, and %s gives nothing until then", name, who)
		return
	}
	h.before("test %s a day before leaving, so that there is time to test twice", name)
	switch {
	case q.StaleAfter <= 0:
		h.Without = append(h.Without, fmt.Sprintf("%s: %s goes on by the last test; nothing here says when a test is too old (stale_after)", name, who))
	case h.From.Add(q.StaleAfter).Before(h.Until):
		h.Without = append(h.Without, fmt.Sprintf("%s: tested on the day of leaving, the plan corrects until %s; then %s gives what is used and corrects nothing%s. Have the helper test once before that day, if you trust their test",
			name, h.Day(h.From.Add(q.StaleAfter)), who, h.ancient(h.From.Add(2*q.StaleAfter))))
	case q.Stale.Before(h.Until):
		h.Without = append(h.Without, fmt.Sprintf("%s: without a test before leaving, %s gives what is used and corrects nothing from %s on%s; a test on the day of leaving holds for the whole holiday",
			name, who, h.Day(*q.Stale), h.ancient(*q.Ancient)))
	default:
		h.Without = append(h.Without, fmt.Sprintf("%s: the last test holds for the whole holiday", name))
	}
}

func (h *Holiday) ancient(at time.Time) string {
	if !at.Before(h.Until) {
		return ""
	}
	return "; from " + h.Day(at) + " on its volume does not rise any more and moves slowly to its base, or a little below the use"
}

// Day is a local date as people write it.
func (h *Holiday) Day(at time.Time) string { return at.In(h.zone).Format("Mon 2 Jan 2006") }

// days is a span in days.
func days(d time.Duration) float64 { return d.Hours() / 24 }

// up rounds a volume, mL, up to what a jug can show.
func up(ml float64) float64 {
	if !(ml > 0) {
		return 0
	}
	return math.Ceil(ml/10) * 10
}
