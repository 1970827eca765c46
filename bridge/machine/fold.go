package machine

import (
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/metering"
	"aliquot/safety"
)

// Fold rebuilds the durable state of a site from its ledger's rows, which must come in the order of Seq.
type Fold struct {
	s         State
	last      Row
	trustedAt safety.Elapsed
	trusted   time.Time
}

// NewFold starts with an empty ledger.
func NewFold(site *Site) *Fold { return &Fold{s: New(site)} }

// Fold starts with an empty ledger.
func (b *Blank) Fold() *Fold { return &Fold{s: b.State()} }

// Add folds the next row.
func (f *Fold) Add(r Row) {
	f.s.clock = safety.NewClock(safety.TrustDeclared, r.Elapsed, r.At, r.Elapsed).Advance(safety.Instant{Wall: r.At})
	f.s.apply(r)
	f.last = r
	if r.Trusted && !r.At.Before(f.trusted) {
		f.trusted, f.trustedAt = r.At, r.Elapsed
	}
}

// State ends the fold. The true time axis goes on behind the last row.
func (f *Fold) State() State {
	s := f.s
	s.clock = safety.NewClock(s.site.ClockTrust, f.last.Elapsed, f.trusted, f.trustedAt)
	return s
}

// Judged is what became of the last test of a system: what had been predicted for it, and whether it was taken.
func (f *Fold) Judged(system string) estimate.Result {
	if y := f.s.system(system); y != nil {
		return y.lastResult
	}
	return estimate.Result{}
}

// apply is the one place where durable state changes, live and in a fold alike. It never refuses: what is in the
// ledger has happened. A row about something that the site no longer has changes nothing but the counters.
func (s *State) apply(r Row) {
	s.seq = r.Seq
	r.At = s.dated(r)
	s.daysStale = s.daysStale || movesPlan(r.Body)
	if r.Trusted {
		s.beginHalves(r.Elapsed)
	}
	switch b := r.Body.(type) {
	case RunReserved:
		s.applyReserved(r, b)
	case RunEnded:
		s.applyEnded(r, b)
	case RunPast:
		s.applyPast(r, b)
	case SlotCarried:
		if c := s.channel(b.Channel); c != nil {
			c.carryNL, c.served = b.CarryNL, later(c.served, r.At)
		}
	case Test:
		s.applyTest(r, b)
	case Calibration:
		s.applyCalibration(r, b)
	case Primed:
		if c := s.channel(b.Channel); c != nil {
			c.primed, c.activeAt = true, r.At
		}
	case Tube:
		if c := s.channel(b.Channel); c != nil {
			c.uncalibrate()
			c.primed, c.ranFor, c.handover = false, 0, handover{}
		}
	case Refill:
		s.applyRefill(b)
	case Swap:
		s.applySwap(r, b)
	case WaterChange:
		s.applyWaterChange(b)
	case SalinityCorrection:
		s.applySalinityCorrection(r, b)
	case Note:
		if y := s.system(b.System); y != nil {
			y.add(input{at: r.At, kind: inputNote, said: &said{note: b.Note}})
		}
	case ProbeMean:
		s.applyProbeMean(b)
	default:
		s.applyAdministration(r)
	}
}

// dated is when a row was written. A clock in doubt does not say: then it is as long after the newest row of a clock that
// was believed as the axis has gone on since. A run that ended while the clock stood a year ahead would have the
// estimator believe that a year without doses has passed (H-11).
func (s *State) dated(r Row) time.Time {
	switch {
	case r.Trusted:
		if !r.At.Before(s.trusted) {
			s.trusted, s.trustedAt = r.At, r.Elapsed
		}
		return r.At
	case s.trusted.IsZero():
		return r.At
	}
	return s.trusted.Add(time.Duration(r.Elapsed-s.trustedAt) * time.Millisecond)
}

// applyAdministration folds the rows that move no water.
func (s *State) applyAdministration(r Row) {
	switch b := r.Body.(type) {
	case Hold:
		s.held.add(b.Scope, len(s.holds))
		s.holds = append(s.holds, hold{Hold: b, begun: r.Elapsed, ends: r.Elapsed + safety.Elapsed(b.Length)})
	case Release:
		s.letGo(func(h hold) bool { return b.Scope == Scope{} || h.Scope == b.Scope })
	case OutOfService:
		s.stand(standing{Scope: b.Scope, code: safety.OutOfService, text: b.Reason, since: r.At})
	case Lockout:
		s.applyLockout(r, b)
	case Cleared:
		s.applyCleared(r, b)
	case Proof:
		if n := s.node(b.Node); n != nil {
			n.proof = &provenRow{at: r.At, fingerprint: b.Fingerprint}
		}
	case Accepted:
		s.applyAccepted(r, b)
	case Answered:
		s.answers[b.Ref] = b
	case DaemonStarted:
		s.applyStarted(r, b)
	case AlertChanged:
		s.applyAlert(r, b)
	case ClockConfirmed, DaemonStopped:
		// Records for the reader: trust and life belong to one process.
	}
}

const startsKept = 8

func (s *State) applyStarted(r Row, b DaemonStarted) {
	s.epoch, s.serial = b.Epoch, max(s.serial, b.Serial)
	s.starts = append(s.starts, r.Elapsed)
	s.starts = s.starts[max(0, len(s.starts)-startsKept):]
	if s.instance == "" {
		s.instance = b.Instance
	}
	if b.Bounds != nil {
		s.bounds = b.Bounds
	}
}

func (s *State) applyLockout(r Row, b Lockout) {
	if i, ok := s.index.interlock[b.Scope.Interlock]; ok {
		s.locks[i].Active = true
		return
	}
	s.stand(standing{Scope: b.Scope, code: b.Code, text: b.Text, since: r.At})
}

// has says whether the site still has what a scope names: what stands for something else could never be cleared.
func (s *State) has(c Scope) bool {
	return c.Interlock == "" && (c.Channel == "" || s.channel(c.Channel) != nil) && (c.System == "" || s.system(c.System) != nil) &&
		(c.Supply == "" || contains(s.supplies(), c.Supply))
}

func (s *State) applyCleared(r Row, b Cleared) {
	if i, ok := s.index.interlock[b.Scope.Interlock]; ok {
		s.locks[i] = safety.Interlock{}
		return
	}
	s.standing = without(s.standing, func(k standing) bool { return k.Scope == b.Scope && k.code == b.Code })
	s.stands = scopesOf(s.standing, standing.scope)
	if c := s.channel(b.Scope.Channel); c != nil && b.Code == safety.Fault {
		c.unknowns, c.unknownRow = nil, 0
	}
	if b.Code == safety.OutOfService {
		s.returned(b.Scope, r.At)
	}
}

// returned brings a scope back into service: its lines are primed and calibrated again, and a followed channel
// waits for a fresh test.
func (s *State) returned(scope Scope, at time.Time) {
	for i := range s.channels {
		if c := &s.channels[i]; scope.covers(c) {
			c.uncalibrate()
			c.primed, c.returnedAt, c.handover = false, at, handover{}
		}
	}
}

// stand adds a standing condition; the same one again only renews its text.
func (s *State) stand(k standing) {
	if !s.has(k.Scope) {
		return
	}
	if old := s.standingFor(k.Scope, k.code); old != nil {
		old.text = k.text
		return
	}
	s.stands.add(k.Scope, len(s.standing))
	s.standing = append(s.standing, k)
}

// standingFor is what stands of a code for exactly a scope; nil: nothing does.
func (s *State) standingFor(c Scope, code safety.Code) *standing {
	for _, i := range s.stands.like(c) {
		if k := &s.standing[i]; k.Scope == c && k.code == code {
			return k
		}
	}
	return nil
}

// letGo ends holds.
func (s *State) letGo(ended func(hold) bool) {
	s.holds = without(s.holds, ended)
	s.held = scopesOf(s.holds, hold.scope)
}

func (s *State) applyCalibration(r Row, b Calibration) {
	c := s.channel(b.Channel)
	if c == nil {
		return
	}
	b, ok := b.Derived()
	if !ok {
		return
	}
	c.rate, c.offset, c.runsOn, c.trials = b.Rate, b.Offset, b.RunsOn, b.Trials
	c.cv = metering.Repeatability(b.Trials, b.Offset)
	c.tolerance, c.provisional, c.calibratedAt, c.ranBefore = b.Tolerance, b.Provisional, r.At, c.ranFor
	c.handover.tried, c.handover.trials = time.Time{}, ""
	s.container(c.cfg.Container).rest.doubt = ""
}

// Derived is the calibration with the rate that follows from its trials: an imported line carries the trials only. It is
// false where nothing follows from them.
func (b Calibration) Derived() (Calibration, bool) {
	if b.Rate != 0 {
		return b, true
	}
	k, _, err := metering.Measure(b.Trials, metering.Last{})
	if err != nil {
		return b, false
	}
	return calibrationOf(b.Channel, b.Trials, k), true
}

// calibrationOf is the row of what trials say.
func calibrationOf(channel string, trials []metering.Trial, k metering.Calibration) Calibration {
	return Calibration{Channel: channel, Trials: trials, Rate: k.Rate, Offset: k.Offset, RunsOn: k.RunsOn, Tolerance: k.Tolerance, Provisional: k.Provisional}
}

// uncalibrate forgets what the pump delivers.
func (c *channelState) uncalibrate() { c.rate, c.offset, c.runsOn, c.trials, c.cv = 0, 0, 0, nil, 0 }

func (s *State) applyRefill(b Refill) {
	k := s.container(b.Container)
	if k == nil {
		return
	}
	k.level.samples, k.level.leaks, k.level.doubted = nil, 0, 0 // somebody had it in hand
	wasEmpty := k.min <= k.cfg.Stop
	k.compareRest(b)
	if b.Remaining != nil {
		k.max = min(*b.Remaining, k.cfg.Capacity)
		k.min = k.max - s.openHi(b.Container)
	} else {
		k.min = min(max(0, k.min)+b.Added, k.cfg.Capacity)
		k.max = min(k.max+b.Added, k.cfg.Capacity)
	}
	if wasEmpty {
		s.drained(b.Container)
	}
}

func (s *State) applySwap(r Row, b Swap) {
	k := s.container(b.Container)
	if k == nil {
		return
	}
	k.level.samples, k.level.leaks, k.level.doubted = nil, 0, 0 // somebody had it in hand
	other := k.supplement != b.Supplement
	k.supplement, k.rest = b.Supplement, restState{known: true, told: b.Remaining}
	k.max = min(b.Remaining, k.cfg.Capacity)
	k.min = k.max - s.openHi(b.Container)
	s.drained(b.Container)
	if other {
		if !k.halfOpen && !r.Trusted {
			s.halves++
		}
		k.halfUntil, k.halfOpen = r.Elapsed+elapsed(safety.Window), !r.Trusted
	}
}

// beginHalves starts the halved day of what was swapped while the clock was in doubt: when trust returns the axis may
// gain time that has nothing to do with it.
func (s *State) beginHalves(at safety.Elapsed) {
	if s.halves == 0 { // asked for every row
		return
	}
	s.halves = 0
	for i := range s.contents {
		if k := &s.contents[i]; k.halfOpen {
			k.halfUntil, k.halfOpen = at+elapsed(safety.Window), false
		}
	}
}

// halved says whether the caps of a container's channels count half.
func (k *containerState) halved(now safety.Elapsed) bool { return k.halfOpen || k.halfUntil > now }

// openHi is what runs without an outcome may still take out of a container whose contents were stated meanwhile.
func (s *State) openHi(container string) safety.Microlitres {
	var sum safety.Microlitres
	for _, i := range s.index.from[container] {
		if r := s.channels[i].open; r != nil && r.Container == container {
			hi, _ := safety.Account(r.commanded(), Unknown, nil)
			sum += hi
		}
	}
	return sum
}

// drained voids the priming of every line that draws from a container.
func (s *State) drained(container string) {
	for _, i := range s.index.from[container] {
		s.channels[i].primed = false
	}
}

func (s *State) applyProbeMean(b ProbeMean) {
	if p := s.probe(b.Probe); p != nil {
		p.past, p.pastAt = b.Mean, b.Until
		s.watch(p, b)
	}
}

// dayReference is the present daily volume from which a rise is measured: that of the newest run at least 24 h
// old, however long an outage has lasted since, up to 14 days; nil if there is none.
func (c *channelState) dayReference(at time.Time) *safety.Microlitres {
	newest := -1
	for newest+1 < len(c.volumes) && at.Sub(c.volumes[newest+1].at) >= safety.Window {
		newest++
	}
	if newest < 0 || at.Sub(c.volumes[newest].at) > referenceAge {
		return nil
	}
	return &c.volumes[newest].volume
}

const referenceAge = 14 * 24 * time.Hour

// noteVolume remembers the daily volume that a run was part of. Of those older than a day only the newest counts.
func (c *channelState) noteVolume(at time.Time, v safety.Microlitres) {
	keep := 0
	for keep+1 < len(c.volumes) && at.Sub(c.volumes[keep+1].at) >= safety.Window {
		keep++
	}
	c.volumes = append(c.volumes[keep:], dayVolume{at, v})
}

// follows says whether the channel's volume is driven by tests of a quantity.
func (c *channelState) follows() bool { return c.cfg.Mode == planner.Follow }

func elapsed(d time.Duration) safety.Elapsed { return safety.Elapsed(d / time.Millisecond) }

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func without[T any](list []T, drop func(T) bool) []T {
	var kept []T
	for _, v := range list {
		if !drop(v) {
			kept = append(kept, v)
		}
	}
	return kept
}

// movesPlan says whether a row changes what the daily volumes rest on. A run as it was planned does not.
func movesPlan(b Body) bool {
	switch b := b.(type) {
	case RunEnded:
		return b.Outcome != Finished
	case RunReserved, RunPast, SlotCarried, Answered, ProbeMean, AlertChanged, ClockConfirmed, DaemonStopped:
		return false
	}
	return true
}
