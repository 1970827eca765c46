package machine

import (
	"slices"
	"time"

	"aliquot/safety"
)

// RunSum says that a RunPast stands for ended runs of one channel, whose own rows are elsewhere. Everything that a fold counts
// of those runs is in it, so that a fold with it ends as one with them.
type RunSum struct {
	Runs      int                 `json:"runs"`
	From      time.Time           `json:"from"` // when the first was reserved; happened is that of the last
	Until     time.Time           `json:"until"`
	Container string              `json:"container"`
	Booked    safety.Microlitres  `json:"booked_ul"` // the most, before their ends were known
	Hi        safety.Microlitres  `json:"hi_ul"`
	Lo        safety.Microlitres  `json:"lo_ul"`
	Longest   safety.Milliseconds `json:"longest_ms"`
	Serial    int64               `json:"serial"`
	CarryNL   int64               `json:"carry_nl"`
	DayVolume safety.Microlitres  `json:"day_volume_ul"`
}

// Spans of a sum. The estimator gathers the runs of about six hours in any case, and moves its belief by their sum.
const (
	sumSpan = 6 * time.Hour
	// settledFor is how much later a channel must have run again before its runs are summed: what rests on the last runs
	// of a channel (windows, unknown outcomes, volumes in force) then rests on others.
	settledFor = 45 * 24 * time.Hour
	// CondenseAhead is how far a condenser has to look beyond what may be summed.
	CondenseAhead = settledFor + 15*24*time.Hour
	meanSpan      = 24 * time.Hour // of probe readings
)

// Condensed says which rows a shorter ledger leaves out, and what takes their place.
type Condensed struct {
	Gone []int64 // in order
	Sums []Row   // each under the Seq of one of Gone, in order
}

// Condenser finds what may be summed of rows that follow each other in a ledger. It sums runs of a plan that ended as they
// were told to, by channel and six hours, readings of probes by day, and leaves out answers to requests and slots that were
// carried on. Whatever else a row says stays as it is, and so does what belongs to an unusual run.
type Condenser struct {
	zone *time.Location
	rows []Row

	reserved map[string]int       // where a run was reserved
	words    map[string]int       // how many rows speak of its end
	later    map[string]time.Time // the last run of a channel, the last reading of a probe
	breaks   []int                // how many rows before each one let a sum not reach over them
	broken   int                  // how many have come
	cuts     []time.Time          // moments that the estimator was told of: doses before and after are different ones

	sums  map[sumKey]*sum
	means map[meanKey]*mean
	gone  []int64
}

// sumKey tells apart what must not be added.
type sumKey struct {
	channel, container string
	span               int64
	year, day          int // local, on which it was reserved
	breaks, cuts       int
}

type sum struct {
	RunPast
	last Row
}

type meanKey struct {
	probe string
	day   int64
}

type mean struct {
	ProbeMean
	total float64
	last  Row
	gone  []int64
}

// NewCondenser starts with no rows. No sum reaches over midnight in the zone, so that the days of a report stay as they were.
func NewCondenser(zone *time.Location) *Condenser {
	return &Condenser{zone: zone, reserved: map[string]int{}, words: map[string]int{}, later: map[string]time.Time{}, sums: map[sumKey]*sum{}, means: map[meanKey]*mean{}}
}

// Add takes the next row of those that may be summed.
func (d *Condenser) Add(r Row) {
	d.breaks = append(d.breaks, d.broken)
	switch b := r.Body.(type) {
	case RunReserved:
		d.reserved[b.Run] = len(d.rows)
	case RunEnded, ProbeMean, SlotCarried, Answered, AlertChanged, Hold, Release, DaemonStarted, DaemonStopped, ClockConfirmed:
	case Test:
		d.broken, d.cuts = d.broken+1, append(d.cuts, b.Taken)
	case WaterChange:
		d.broken, d.cuts = d.broken+1, append(d.cuts, b.Taken, b.Until)
	case RunPast:
		d.broken, d.cuts = d.broken+1, append(d.cuts, b.Happened)
	default:
		d.broken++
	}
	d.rows = append(d.rows, r)
	d.Look(r)
}

// Look takes a row behind all that may be summed: it is looked at for what came of them.
func (d *Condenser) Look(r Row) {
	switch b := r.Body.(type) {
	case RunReserved:
		d.later[b.Channel] = later(d.later[b.Channel], r.At)
	case RunEnded:
		d.words[b.Run]++
	case ProbeMean:
		d.later["probe "+b.Probe] = later(d.later["probe "+b.Probe], r.At)
	case Test:
		d.cuts = append(d.cuts, b.Taken)
	case WaterChange:
		d.cuts = append(d.cuts, b.Taken, b.Until)
	}
}

// Done says what may go.
func (d *Condenser) Done() Condensed {
	slices.SortFunc(d.cuts, time.Time.Compare)
	for i, r := range d.rows {
		if r.Trusted {
			d.take(i, r)
		}
	}
	return d.inOrder()
}

func (d *Condenser) take(i int, r Row) {
	switch b := r.Body.(type) {
	case RunEnded:
		d.takeRun(i, r, b)
	case ProbeMean:
		d.takeMean(r, b)
	case Answered:
		d.gone = append(d.gone, r.Seq)
	case SlotCarried:
		if d.settled(b.Channel, r.At) {
			d.gone = append(d.gone, r.Seq)
		}
	}
}

// settled says whether something went on for long after a moment.
func (d *Condenser) settled(what string, at time.Time) bool {
	return d.later[what].Sub(at) >= settledFor
}

// takeRun adds an ordinary run to a sum.
func (d *Condenser) takeRun(i int, r Row, e RunEnded) {
	at, known := d.reserved[e.Run]
	if !known || at > i || d.words[e.Run] != 1 || d.breaks[at] != d.breaks[i] {
		return
	}
	first := d.rows[at]
	b, _ := first.Body.(RunReserved)
	if !first.Trusted || first.By != "" || b.Purpose != Dose || b.Into != IntoTank || e.Outcome != Finished || b.Rate <= 0 || !d.settled(b.Channel, r.At) {
		return
	}
	cut, _ := slices.BinarySearchFunc(d.cuts, r.At, time.Time.Compare)
	on := first.At.In(d.zone)
	key := sumKey{b.Channel, b.Container, r.At.UnixNano() / int64(sumSpan), on.Year(), on.YearDay(), d.breaks[i], cut}
	s := d.sums[key]
	if s == nil {
		s = &sum{RunPast: RunPast{Channel: b.Channel, Purpose: b.Purpose, Into: b.Into, Outcome: e.Outcome, Delivered: new(safety.Microlitres),
			Sum: &RunSum{From: first.At, Container: b.Container}}}
		d.sums[key] = s
	}
	s.add(first, r, b, e)
	d.gone = append(d.gone, first.Seq, r.Seq)
}

func (s *sum) add(first, last Row, b RunReserved, e RunEnded) {
	booking := safety.NewBooking(b.Run, false, first.Elapsed, b.Longest, b.commanded())
	closed := booking.Close(last.Elapsed, e.Outcome, e.Hi, e.Lo)
	s.last, s.Happened = last, first.At
	s.Volume += b.Volume
	s.Duration += b.Duration
	*s.Delivered += b.movedBy(e)
	k := s.Sum
	k.Runs++
	k.Until = last.At
	k.Booked, k.Hi, k.Lo = k.Booked+booking.Hi, k.Hi+closed.Hi, k.Lo+closed.Lo
	k.Longest += b.Longest
	k.Serial, k.CarryNL, k.DayVolume = max(k.Serial, b.Serial), b.CarryNL, b.DayVolume
}

func (d *Condenser) takeMean(r Row, b ProbeMean) {
	if !d.settled("probe "+b.Probe, r.At) || b.Count <= 0 {
		return
	}
	key := meanKey{b.Probe, b.Until.UnixNano() / int64(meanSpan)}
	m := d.means[key]
	if m == nil {
		m = &mean{ProbeMean: ProbeMean{Probe: b.Probe, From: b.From}}
		d.means[key] = m
	}
	m.Count += b.Count
	m.total += b.Mean * float64(b.Count)
	m.Until, m.last, m.gone = b.Until, r, append(m.gone, r.Seq)
}

// inOrder puts the sums in order. One reading a day is no sum.
func (d *Condenser) inOrder() Condensed {
	out := Condensed{Gone: d.gone}
	for _, s := range d.sums {
		r := s.last
		r.ID, r.Body = "", s.RunPast
		out.Sums = append(out.Sums, r)
	}
	for _, m := range d.means {
		if len(m.gone) < 2 {
			continue
		}
		m.Mean = m.total / float64(m.Count)
		r := m.last
		r.Body = m.ProbeMean
		out.Sums, out.Gone = append(out.Sums, r), append(out.Gone, m.gone...)
	}
	slices.Sort(out.Gone)
	slices.SortFunc(out.Sums, func(a, b Row) int { return int(a.Seq - b.Seq) })
	return out
}

// applySum folds what ended runs came to. They have left every window: there is nothing to book.
func (s *State) applySum(r Row, b RunPast) {
	c, k := s.channel(b.Channel), b.Sum
	s.serial = max(s.serial, k.Serial)
	if c == nil {
		return
	}
	c.ranFor += k.Longest
	c.totalHi += k.Hi
	if s.sinceCourse(c, b.Happened) { // the last run of the sum: what a course may have begun within counts whole
		c.courseHi += k.Hi
	}
	c.totalLo += k.Lo
	c.lastRun, c.activeAt = later(c.lastRun, b.Happened), later(c.activeAt, b.Happened)
	c.carryNL, c.served = k.CarryNL, later(c.served, b.Happened)
	if k.DayVolume > 0 {
		c.notePlanned(r.Elapsed, k.DayVolume)
	}
	if c.follows() {
		c.noteVolume(b.Happened, k.DayVolume)
	}
	if held := s.container(k.Container); held != nil {
		held.min -= k.Booked
	}
	if held := s.container(c.cfg.Container); held != nil {
		held.min -= k.Hi - k.Booked
		held.max = max(0, held.max-k.Lo)
	}
	c.noteSure(r.Elapsed, k.Lo)
	c.lastOutcome = b.Outcome
	c.settle(r, b.Outcome, false)
	s.dosed(c, r.At, *b.Delivered, *b.Delivered)
}
