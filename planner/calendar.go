package planner

import "time"

// Calendar says when a channel may run. Its schedule is evaluated on local wall time written as if it were
// UTC, so that no zone rule can double or drop a firing; each firing is then mapped to the zone. The zero
// Calendar never fires.
type Calendar struct {
	Schedule  Schedule
	Zone      *time.Location // nil = UTC
	EveryDays int            // only every so many local days; 0 and 1 = every day
	Start     time.Time      // civil date (Y-M-D) from which days count; zero = 2000-01-01, and no first day
	Night     Night          // zero: every slot of a date carries the same
}

// Night gives a part of the local day a share of its demand. From = To is no part, and changes nothing.
type Night struct {
	From, To int     // minutes after local midnight, 0..1439; a part that ends before it begins goes through midnight
	Share    float64 // of a date's demand, above 0 and below 1; for dates that have slots both inside and outside
}

// holds says whether a local wall time lies in the part of the day.
func (n Night) holds(wall time.Time) bool {
	m := wall.Hour()*60 + wall.Minute()
	if n.From <= n.To {
		return m >= n.From && m < n.To
	}
	return m >= n.From || m < n.To
}

// Slot is one time at which a channel may run.
type Slot struct {
	Key      string        // local wall time as the schedule means it, "2006-01-02T15:04": unique in a channel
	At       time.Time     // UTC
	Days     float64       // days of demand that this slot carries; over the slots of a daily schedule they sum to 1 a day
	Interval time.Duration // to the next slot; searchDays days if none follows
}

const (
	keyLayout = "2006-01-02T15:04"
	// searchDays bounds every search: a 29 February every eight years (1896–1904, 2096–2104) is still found.
	searchDays = 4096
	// slotsPerDate bounds one local date: one slot a minute.
	slotsPerDate = 24 * 60
	daySecs      = 24 * 60 * 60
)

// epochDate is the local date from which EveryDays counts where no start is declared.
var epochDate = dateOf(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC))

// Slots gives the slots with from ≤ At < to, in order.
func (c Calendar) Slots(from, to time.Time) []Slot {
	var out []Slot
	for w := c.walk(from); ; {
		s, ok := w.next()
		if !ok || !s.At.Before(to) {
			return out
		}
		if !s.At.Before(from) {
			out = append(out, s)
		}
	}
}

// NextAfter gives the first slot strictly after t, false if none comes within searchDays days.
func (c Calendar) NextAfter(t time.Time) (Slot, bool) {
	for w := c.walk(t); ; {
		s, ok := w.next()
		if !ok || s.At.After(t) {
			return s, ok
		}
	}
}

// LongestInterval gives the longest Interval of the n slots strictly after t, 0 if there is none.
func (c Calendar) LongestInterval(t time.Time, n int) time.Duration {
	var longest time.Duration
	for w := c.walk(t); n > 0; {
		s, ok := w.next()
		if ok && !s.At.After(t) {
			continue
		}
		if !ok || len(w.buf) == 0 { // here this walk ends: one from the latest slot on sees further
			if s, ok = c.NextAfter(t); !ok {
				return longest
			}
			w = c.walk(s.At)
		}
		longest, t, n = max(longest, s.Interval), s.At, n-1
	}
	return longest
}

// walker yields the slots of a calendar in order, from the first slot of the asked instant's date on.
type walker struct {
	c     Calendar
	date  int // next local date to look at
	last  int // no date after this is looked at
	prev  int // the last date that had slots
	known bool
	buf   []Slot // slots not yet handed out, without Interval
	bare  bool   // slots without Key, by times that are looked up once: what Peak needs
	times []time.Duration
}

func (c Calendar) walk(from time.Time) *walker {
	if c.Schedule == nil {
		return &walker{date: 1}
	}
	y, m, d := from.In(c.zone()).Date()
	date := dateOf(time.Date(y, m, d, 0, 0, 0, 0, time.UTC))
	if midnight := wall(date); instant(midnight.Add(-time.Minute), c.zone()).Equal(instant(midnight, c.zone())) {
		date-- // a gap ends at this midnight: slots of the date before fall on it and are merged with its own
	}
	w := &walker{c: c, date: date, last: date + searchDays}
	w.prev, w.known = c.dateBefore(date)
	return w
}

// next gives the next slot, equal instants merged under the first key.
func (w *walker) next() (Slot, bool) {
	if !w.fill(1) {
		return Slot{}, false
	}
	s := w.buf[0]
	w.buf = w.buf[1:]
	for w.fill(1) && w.buf[0].At.Equal(s.At) {
		s.Days += w.buf[0].Days
		w.buf = w.buf[1:]
	}
	s.Interval = searchDays * 24 * time.Hour
	if len(w.buf) > 0 {
		s.Interval = w.buf[0].At.Sub(s.At)
	}
	return s, true
}

// fill makes sure that buf holds n slots, if there are so many.
func (w *walker) fill(n int) bool {
	for len(w.buf) < n {
		date, ok := w.c.dateFrom(w.date, w.last)
		if !ok {
			w.date = w.last + 1
			return false
		}
		w.buf = append(w.buf, w.slotsOn(date, w.c.gap(date, w.prev, w.known))...)
		w.prev, w.known, w.date = date, true, date+1
	}
	return true
}

// gap gives the days of demand that a date carries.
func (c Calendar) gap(date, prev int, known bool) float64 {
	if !known {
		return float64(max(1, c.EveryDays))
	}
	return float64(date - prev)
}

// carry shares the days of demand of a date among its slots: it gives what a slot carries by its local time.
func (n Night) carry(walls []time.Time, days float64) func(time.Time) float64 {
	inside := 0
	if n.Share > 0 && n.Share < 1 {
		for _, w := range walls {
			if n.holds(w) {
				inside++
			}
		}
	}
	outside := len(walls) - inside
	if inside == 0 || outside == 0 {
		even := days / float64(len(walls))
		return func(time.Time) float64 { return even }
	}
	return func(w time.Time) float64 {
		if n.holds(w) {
			return days * n.Share / float64(inside)
		}
		return days * (1 - n.Share) / float64(outside)
	}
}

// Most gives the largest part of a date's demand that one slot carries, from the times of day of its slots; 0 without any.
func (n Night) Most(times []time.Duration) float64 {
	walls := make([]time.Time, len(times))
	for i, t := range times {
		walls[i] = wall(0).Add(t)
	}
	part, most := n.carry(walls, 1), 0.0
	for _, w := range walls {
		most = max(most, part(w))
	}
	return most
}

// slotsOn gives the slots of one local date. They share the date's days of demand, equally but for Night, however many hours
// that date has: the sum of a day does not depend on clock changes. Wall times in order stay in order as
// instants, so nothing needs sorting.
func (w *walker) slotsOn(date int, days float64) []Slot {
	walls := w.wallsOn(date)
	out := make([]Slot, len(walls))
	zone := w.c.zone()
	offset := offsetAt(wall(date-1), zone)
	plain := offset == offsetAt(wall(date+2), zone) // no clock change near: the common case, and cheap
	part := w.c.Night.carry(walls, days)
	for i, t := range walls {
		out[i] = Slot{At: t.Add(-offset), Days: part(t)}
		if !plain {
			out[i].At = instant(t, zone)
		}
		if !w.bare {
			out[i].Key = keyOf(t)
		}
	}
	return out
}

// wallsOn gives the wall times of a date that has slots.
func (w *walker) wallsOn(date int) []time.Time {
	if !w.bare {
		return w.c.wallsOn(date)
	}
	midnight := wall(date)
	if w.times == nil {
		for _, t := range w.c.wallsOn(date) {
			w.times = append(w.times, t.Sub(midnight))
		}
	}
	walls := make([]time.Time, len(w.times))
	for i, t := range w.times {
		walls[i] = midnight.Add(t)
	}
	return walls
}

// keyOf is w in keyLayout. It is written for every slot that anybody looks at, and by hand several times as fast.
func keyOf(w time.Time) string {
	year, month, day := w.Date()
	if year < 0 || year > 9999 {
		return w.Format(keyLayout)
	}
	hour, minute, _ := w.Clock()
	key := [len(keyLayout)]byte{4: '-', 7: '-', 10: 'T', 13: ':'}
	digits(key[0:4], year)
	digits(key[5:7], int(month))
	digits(key[8:10], day)
	digits(key[11:13], hour)
	digits(key[14:16], minute)
	return string(key[:])
}

// digits fills the whole of a place with a number.
func digits(place []byte, n int) {
	for i := len(place) - 1; i >= 0; i-- {
		place[i] = byte('0' + n%10)
		n /= 10
	}
}

// wallsOn gives the minutes of one local date at which the schedule fires, as UTC.
func (c Calendar) wallsOn(date int) []time.Time {
	var out []time.Time
	end := wall(date + 1)
	for t := wall(date).Add(-1); len(out) < slotsPerDate; {
		n := c.Schedule.Next(t)
		if !n.After(t) || !n.Before(end) {
			break
		}
		n = n.Truncate(time.Minute)
		out = append(out, n)
		t = n.Add(time.Minute - 1) // a second firing in the same minute would have the same key
	}
	return out
}

// dateFrom gives the first date from date to last that has slots.
func (c Calendar) dateFrom(date, last int) (int, bool) {
	for date = c.countedDate(date); date <= last; {
		t := wall(date).Add(-1)
		n := c.Schedule.Next(t)
		if !n.After(t) {
			return 0, false // the zero time: never
		}
		found := dateOf(n)
		if counted := c.countedDate(found); counted != found {
			date = counted
			continue
		}
		return found, found <= last
	}
	return 0, false
}

// dateBefore gives the last date before date that has slots. It looks back over spans that double, so that a
// dense schedule costs one look.
func (c Calendar) dateBefore(date int) (int, bool) {
	for span := 1; span <= searchDays; span *= 2 {
		last, ok := 0, false
		end := date - span/2 - 1
		for from := date - span; from <= end; {
			d, found := c.dateFrom(from, end)
			if !found {
				break
			}
			last, ok, from = d, true, d+1
		}
		if ok {
			return last, true
		}
	}
	return 0, false
}

// countedDate gives the first date, not before date, on which EveryDays and Start let the channel run.
func (c Calendar) countedDate(date int) int {
	start := epochDate
	if !c.Start.IsZero() {
		y, m, d := c.Start.Date()
		start = dateOf(time.Date(y, m, d, 0, 0, 0, 0, time.UTC))
		date = max(date, start)
	}
	if c.EveryDays <= 1 {
		return date
	}
	over := (date - start) % c.EveryDays
	if over < 0 {
		over += c.EveryDays
	}
	if over == 0 {
		return date
	}
	return date + c.EveryDays - over
}

func (c Calendar) zone() *time.Location {
	if c.Zone == nil {
		return time.UTC
	}
	return c.Zone
}

// wall gives midnight of a local date, written as UTC.
func wall(date int) time.Time { return time.Unix(int64(date)*daySecs, 0).UTC() }

// dateOf numbers the civil date of a wall time written as UTC: days since 1970-01-01.
func dateOf(w time.Time) int {
	s := w.Unix()
	if s < 0 {
		s -= daySecs - 1
	}
	return int(s / daySecs)
}

// instant maps a wall time, written as UTC, to the zone: a time that occurs twice is its first occurrence, one
// that does not exist is the first whole minute after the gap. time.Date promises neither.
func instant(w time.Time, zone *time.Location) time.Time {
	// Offsets stay within a day, so that these two lie before and after any change that w can fall into.
	before, after := offsetAt(w.Add(-24*time.Hour), zone), offsetAt(w.Add(24*time.Hour), zone)
	early, late := w.Add(-before), w.Add(-after)
	if late.Before(early) {
		early, late = late, early
	}
	for _, t := range [2]time.Time{early, late} {
		if offsetAt(t, zone) == w.Sub(t) {
			return t
		}
	}
	start, _ := w.Add(-before).In(zone).ZoneBounds()
	return start.UTC().Add(time.Minute - 1).Truncate(time.Minute)
}

func offsetAt(t time.Time, zone *time.Location) time.Duration {
	_, s := t.In(zone).Zone()
	return time.Duration(s) * time.Second
}
