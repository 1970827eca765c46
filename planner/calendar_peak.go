package planner

import "time"

// Peak is the most that a calendar asks for in any closed window of 24 h.
type Peak struct {
	Days  float64 // sum of Slot.Days
	Slots int
}

const (
	// peakDays is the span over which Peak looks: it holds both clock changes of a year.
	peakDays = 400
	// denseDays is how far Peak looks where every day has slots: two months, so that each day of a month is in it.
	denseDays  = 63
	regularGap = 8 * 24 * time.Hour
	// aroundChange is the span around a change of the zone's offset that differs from other days.
	aroundChange = 4 * 24 * time.Hour
	// peakSlots is how many slots Peak looks at where a schedule is sparse.
	peakSlots = 64
)

// Peak looks at the 400 days after from, longer where the schedule has fewer than 64 slots in them. Where no week is
// without slots it looks at the first 63 days and at every change of the zone's offset, since no other day differs. It takes
// the times of day from the first date that has slots (see Schedule). A run counts in a cap until 24 h after its end, so
// that the slot exactly 24 h later still meets it: the window is closed at both ends.
func (c Calendar) Peak(from time.Time) Peak {
	p, regular := c.peakIn(from, from.Add(denseDays*24*time.Hour))
	if !regular {
		p, _ = c.peakIn(from, from.Add(peakDays*24*time.Hour))
		return p
	}
	for _, change := range c.offsetChanges(from, peakDays) {
		q, _ := c.peakIn(change.Add(-aroundChange), change.Add(aroundChange))
		p = Peak{max(p.Days, q.Days), max(p.Slots, q.Slots)}
	}
	return p
}

// peakIn looks at the slots up to a moment, and at peakSlots of them at least. It is regular if no week was without.
func (c Calendar) peakIn(from, to time.Time) (p Peak, regular bool) {
	var window []Slot
	days, seen, last := 0.0, 0, from
	regular = true
	w := c.walk(from)
	for w.bare = true; ; seen++ {
		s, ok := w.next()
		regular = regular && ok && s.At.Sub(last) <= regularGap
		if !ok || (seen >= peakSlots && s.At.After(to)) {
			return p, regular
		}
		last = s.At
		window, days = append(window, s), days+s.Days
		for s.At.Sub(window[0].At) > 24*time.Hour {
			days -= window[0].Days
			window = window[1:]
		}
		p.Days, p.Slots = max(p.Days, days), max(p.Slots, len(window))
	}
}

// offsetChanges gives the midnights (UTC) behind which the zone's offset has changed.
func (c Calendar) offsetChanges(from time.Time, days int) []time.Time {
	var out []time.Time
	before := offsetAt(from, c.zone())
	for i := 1; i <= days; i++ {
		at := from.Add(time.Duration(i) * 24 * time.Hour)
		if now := offsetAt(at, c.zone()); now != before {
			out, before = append(out, at), now
		}
	}
	return out
}
