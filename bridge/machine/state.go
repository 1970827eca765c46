package machine

import (
	"time"

	"aliquot/planner"
	"aliquot/planner/advice"
	"aliquot/planner/estimate"
	"aliquot/planner/metering"
	"aliquot/safety"
)

// State is the daemon's running state. It belongs to one caller: Step consumes it and gives the next one, and
// the old value must not be used again.
type State struct {
	site  *Site
	index *index

	// of this process
	now       safety.Instant
	clock     safety.Clock
	instance  string // of the ledger: it survives restarts
	nonce     string // of this process
	startMono time.Duration
	bootAt    safety.Elapsed // the axis when this process began
	booted    bool
	stopping  bool
	ledgerBad string // why the ledger cannot be written, else empty
	linkUp    bool
	owner     ownership
	past      OwnerSeen // the record that an earlier process of this ledger left; empty: none is known
	preview   bool      // live conditions are assumed good

	// fold of the ledger
	seq int64
	// the newest row that was written on a clock that was believed, and its place on the axis
	trusted   time.Time
	trustedAt safety.Elapsed

	epoch    int64
	serial   int64
	starts   []safety.Elapsed // the last starts, for H-15
	answers  map[string]Answered
	standing []standing
	stands   scoped // of standing
	holds    []hold
	held     scoped             // of holds
	accepted map[string]string  // what -> fingerprint
	bounds   map[string]float64 // as accepted; never written to in place
	channels []channelState
	contents []containerState
	systems  []systemState
	nodes    []nodeState
	probes   []probeState
	locks    []safety.Interlock
	alerts   []AlertView
	alertAt  map[string]position // by name
	open     map[string]position // the channels of open runs, by run
	halves   int                 // containers whose halved day has not begun
	// what follows is of this process
	means     []ProbeMean     // of batches that are over, not written down yet
	reminders []reminder      // of each alert
	flaps     map[string]flap // by alert
	lots      []lotState
	ways      []closedWay
	triedAt   time.Time // when nextTry was looked for
	nextTry   time.Time // when the next test message goes out

	// plan
	nextTick  time.Time
	lastPlan  time.Time
	daysAt    time.Time     // when the daily volumes were worked out
	daysStale bool          // something has happened since that they rest on
	scratch   planner.Input // of the last refreshDays, to be filled again
	advisedAt time.Time     // when the advice was worked out
	slotsLost bool          // the next slots have to be looked for: a new process, or the clock was in doubt
	moreSlots bool          // the last step left some slots to the next
	beatMono  time.Duration

	// chemistry
	chemistryMono time.Duration // when saturations were worked out; 0: not yet
	balancedAt    time.Time     // the plan after which uses were compared
}

type channelState struct {
	cfg *Channel

	rate         safety.Rate
	offset       safety.Microlitres // what every run gives besides rate × time; 0 while the rate is
	runsOn       safety.Microlitres // the most that this can be, at least 0
	trials       []metering.Trial   // of the calibration in use
	cv           float64            // how far these scatter, as a fraction
	tolerance    safety.Tolerance
	provisional  bool
	rises        []estimate.Rise // that its last dose brought, see input
	calibratedAt time.Time
	primed       bool
	returnedAt   time.Time // from out of service: a followed channel waits for a test after it
	activeAt     time.Time // last priming or run: what idleness counts from
	handover     handover
	longestGap   time.Duration
	peak         planner.Peak

	book                   safety.Book
	open                   *openRun
	carryNL                int64
	served                 time.Time // slots up to this instant are served or dropped
	next                   planner.Slot
	hasNext                bool
	due                    *dueSlot
	day                    planner.Day
	dayRefused, runRefused bool                // the day, or the last run, that the plan came to could not be one
	good                   goodPlan            // what stands for a day that could not be
	more                   safety.Microlitres  // what the upper end of the use would take on top of the plan, in a day
	capAhead               *advice.Cap         // the cap that it will run into; nil: none that is known of
	volumes                []dayVolume         // planned daily volumes that really ran, oldest first
	noRise                 *safety.Microlitres // after an unknown run, until the next accepted test
	lateRise               *safety.Microlitres // after a late test, until lateUntil
	lateUntil              time.Time
	inForce                *safety.Microlitres // when a test came that is held now; nil: none is, or nothing had run
	unknowns               []safety.Elapsed    // runs of the last day that nobody knows the outcome of
	unknownRow             int                 // how many of them without a known one between
	gentle                 safety.Microlitres  // the largest planned run by the measured pH; 0: not bounded by it
	givenUp                bool                // the last run ended unknown, and its output may still be seen on
	lately                 []string            // the last runs that were seen to start
	offUntil               safety.Elapsed      // a stuck output is told to stop once a second until then
	offLast                safety.Elapsed

	given            []given // by the hour, oldest first
	totalHi, totalLo safety.Microlitres
	courseHi         safety.Microlitres  // into the tank since the first day of its course
	ranFor           safety.Milliseconds // since the tubing was changed
	ranBefore        safety.Milliseconds // of it, before the calibration in use
	lastRun          time.Time
	lastOutcome      Outcome
}

// openRun is a run without an outcome.
type openRun struct {
	RunReserved
	at        time.Time
	elapsed   safety.Elapsed
	attended  bool
	started   bool // the node said so, at startedAt
	startedAt safety.Elapsed
	offSent   bool // a relay was told to go off at the end
	foreign   bool // an output that was on without an open run
	unfed     bool // its supply relay was seen off, or lost from sight
}

// dueSlot is a slot whose time has come and that has not run yet.
type dueSlot struct {
	slot    planner.Slot
	until   time.Time
	counted safety.Code // the last reason that was counted for it
}

type dayVolume struct {
	at     time.Time
	volume safety.Microlitres
}

type containerState struct {
	cfg        *Container
	supplement string             // what it holds now
	min, max   safety.Microlitres // the least and the most that it can hold
	halfUntil  safety.Elapsed     // caps count half until then, after another supplement came in (H-22)
	halfOpen   bool               // that day has not begun: it was swapped while the clock was in doubt
	level      levelState
	rest       restState
}

type systemState struct {
	cfg        *planner.System
	filter     *estimate.Filter
	inputs     []input
	base       *estimate.Filter // the filter before inputs[0]
	near       *estimate.Filter // the filter before inputs[nearAt]; nil: none is remembered
	nearAt     int
	lastResult estimate.Result  // of the last test
	uses       []advice.Log     // of each target: what the use was believed to be after its accepted tests
	advised    []quantityAdvice // of each target; empty before the first plan of a process
	lowTests   []int            // by target: tests in a row far below the prediction
	watched    []time.Time      // by target: until when its probe's readings were told to the estimator
	strong     []float64        // by target: how many times as far as told doses move it; 0: nothing says so
	chemistry
}

type nodeState struct {
	cfg      *Node
	up       bool
	seen     time.Duration // of the last online value, monotonic
	retained map[retainedAt]bool
	echoDue  time.Duration // when our own stop must have come back; 0: it has, or none is due
	deafness bool          // it did not: the broker does not let us read our own command topics
	boot     int64
	seq      int64
	reports  []reportMark // the last ones, to know a re-delivery
	proof    *provenRow
	supply   supplyState // of a supply relay
}

type retainedAt struct {
	output int
	stop   bool
}

type reportMark struct{ boot, seq int64 }

type provenRow struct {
	at          time.Time
	fingerprint string
}

type probeState struct {
	cfg   *Probe
	value float64
	good  bool
	why   string
	mono  time.Duration // of the last message
	wall  time.Time
	seen  bool
	flat  bool
	// since when all readings lay within a narrow span
	flatLow, flatHigh float64
	flatSince         time.Duration
	batch             batch
	apart             string // how it differs from another probe of the same water; empty: it does not
	wasApart          bool
	alarming          int // readings in a row at or above the pH alarm
	// the newest mean of an imported or recorded batch
	past   float64
	pastAt time.Time
}

type batch struct {
	from  time.Time
	sum   float64
	count int
}

// standing is a lockout or an out-of-service state.
type standing struct {
	Scope
	code  safety.Code
	text  string
	since time.Time
}

type hold struct {
	Hold
	begun, ends safety.Elapsed
}

type ownership struct {
	sure      bool
	wrote     bool
	readBack  bool // our own record came back after we wrote it
	wroteMono time.Duration
	renewed   time.Duration
	linkMono  time.Duration // since when we look for a foreign record
	foreign   string        // the foreign instance seen last
	seenMono  time.Duration
}

// Blank is a site whose calendars were looked through, which takes some milliseconds: many states of it can begin.
type Blank struct {
	site  *Site
	index *index
	beats []rhythm // by channel
}

// NewBlank looks through the calendars of a site.
func NewBlank(site *Site) *Blank {
	b := &Blank{site: site, index: newIndex(site)}
	var known rhythms
	for i := range site.Channels {
		b.beats = append(b.beats, known.of(site.Channels[i].Calendar))
	}
	return b
}

// New gives the state of a site whose ledger is empty.
func New(site *Site) State { return NewBlank(site).State() }

// State is that of an empty ledger. States share nothing that ever changes.
func (b *Blank) State() State {
	site := b.site
	s := State{site: site, index: b.index, answers: map[string]Answered{}, accepted: map[string]string{}, alertAt: map[string]position{}, open: map[string]position{}, flaps: map[string]flap{}}
	for i := range site.Channels {
		s.channels = append(s.channels, channelState{cfg: &site.Channels[i], tolerance: safety.DefaultTolerance, longestGap: b.beats[i].longestGap, peak: b.beats[i].peak})
	}
	for i := range site.Containers {
		s.contents = append(s.contents, containerState{cfg: &site.Containers[i], supplement: site.Containers[i].Supplement})
	}
	for i := range site.Systems {
		s.systems = append(s.systems, newSystemState(&site.Systems[i], site.Zone, site.Channels))
		s.systems[i].water = site.waterOf(site.Systems[i].ID)
	}
	for i := range site.Nodes {
		s.nodes = append(s.nodes, nodeState{cfg: &site.Nodes[i], retained: map[retainedAt]bool{}})
	}
	for i := range site.Probes {
		s.probes = append(s.probes, probeState{cfg: &site.Probes[i], why: "nothing received yet"})
	}
	s.locks = make([]safety.Interlock, len(site.Interlocks))
	s.clock = safety.NewClock(site.ClockTrust, 0, time.Time{}, 0)
	return s
}

// longestGap is the longest time between two slots of a calendar, as far as its next slots show.
func longestGap(c planner.Calendar) time.Duration {
	const look = 64
	at := time.Date(2001, 1, 1, 0, 0, 0, 0, time.UTC)
	return c.LongestInterval(at, look)
}
