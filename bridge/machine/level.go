package machine

import (
	"fmt"
	"time"

	"aliquot/safety"
)

// A container may stand on a scale, or have a level sensor. Its readings never say that more may be taken out than the
// ledger says; they block below the container's stop, notice what leaves without a run, and doubt the calibration.

// Bounds of the judgement of a level. The window and the size of a leak are common practice for scales below
// containers; the rest is our own choice.
const (
	levelStale  = time.Hour              // a level changes slowly, and scales are read seldom
	leakWindow  = time.Hour              // what falls within it without a run is a leak
	leakLeast   = 10 * safety.Millilitre // or, if more,
	leakShare   = 20                     // permille of the capacity
	leakReads   = 2                      // readings in a row that must say so: one may be a knock at the scale
	levelUnder  = 20                     // permille of the capacity below nothing that a zero may drift
	levelOver   = 100                    // permille of the capacity above full that a rim may hold
	doubtFor    = 30 * time.Minute       // before a disagreement with the ledger is spoken of
	sampleEvery = 5 * time.Minute        // between samples that are remembered
	samplesMost = int(leakWindow/sampleEvery) + 2
)

// levelState is what a level sensor says. It is known live only.
type levelState struct {
	seen    bool
	good    bool
	why     string
	volume  safety.Microlitres // of the last reading that could be read
	atMost  bool               // volume is a bound
	mono    time.Duration      // of the last message
	wall    time.Time
	samples []levelSample // of the last hour, oldest first, each taken while nothing could flow
	leaks   int           // readings in a row that miss what no run took
	doubt   bool          // the ledger and the sensor disagree
	doubted time.Duration // since when they differ; 0: they do not
}

// levelSample is a reading, and what runs may have taken up to then since the ledger began.
type levelSample struct {
	at     time.Duration
	volume safety.Microlitres
	taken  safety.Microlitres
}

// levelRead takes one reading. A retained one is an old value and counts as none (H-31), but for a float switch: it
// speaks when it changes, and what it says can only forbid.
func (t *turn) levelRead(e LevelRead) {
	k := t.container(e.Container)
	if k == nil || !k.cfg.Level || (e.Retained && !e.AtMost) {
		return
	}
	l := &k.level
	l.seen, l.mono, l.wall, l.volume = true, t.now.Mono, t.wall(), e.Volume
	l.why = k.implausibleLevel(e)
	l.good, l.atMost = l.why == "", e.AtMost
	if !l.good {
		return
	}
	if !l.atMost {
		t.lookForLeak(k)
	}
	t.compareLevel(k)
}

// implausibleLevel says why a reading cannot be used, or is empty.
func (k *containerState) implausibleLevel(e LevelRead) string {
	low, high := -k.cfg.Capacity*levelUnder/1000, k.cfg.Capacity+k.cfg.Capacity*levelOver/1000
	switch {
	case e.Bad != "":
		return e.Bad
	case e.Volume < low || e.Volume > high:
		return fmt.Sprintf("%s is outside %s..%s", e.Volume, low, high)
	}
	return ""
}

// lookForLeak notices what left a container without a run (H-21): a siphon, a split tube, a tipped jug. Everything that
// runs may have taken is allowed for; whether one still flows nobody can tell from its silence.
func (t *turn) lookForLeak(k *containerState) {
	l := &k.level
	taken, quiet := t.takenFrom(k)
	now := levelSample{t.now.Mono, l.volume, taken}
	l.forget(now)
	if l.missing(now) <= k.levelError() {
		l.leaks = 0
	} else if l.leaks++; l.leaks >= leakReads {
		t.leaks(k, l.missing(now))
		l.samples, l.leaks = nil, 0
	}
	if n := len(l.samples); quiet && l.leaks == 0 && (n == 0 || now.at-l.samples[n-1].at >= sampleEvery) {
		l.samples = append(l.samples, now)
	}
}

// forget drops samples of more than an hour ago, and all of them where a run turned out not to have been sent: what it
// was thought to have taken is no longer counted.
func (l *levelState) forget(now levelSample) {
	l.samples = without(l.samples, func(s levelSample) bool { return now.at-s.at > leakWindow })
	for _, s := range l.samples {
		if s.taken > now.taken {
			l.samples = nil
			return
		}
	}
	l.samples = l.samples[max(0, len(l.samples)-samplesMost):]
}

// missing is the most that left since any sample and that no run can have taken.
func (l *levelState) missing(now levelSample) safety.Microlitres {
	var most safety.Microlitres
	for _, s := range l.samples {
		most = max(most, (s.volume+s.taken)-(now.volume+now.taken))
	}
	return most
}

// levelError is by how much a sensor and the truth may differ.
func (k *containerState) levelError() safety.Microlitres {
	return max(leakLeast, k.cfg.Capacity*leakShare/1000)
}

// takenFrom is what all runs from a container may have taken since the ledger began, and whether nothing can flow now.
func (s *State) takenFrom(k *containerState) (sum safety.Microlitres, quiet bool) {
	quiet = true
	for _, i := range s.index.from[k.cfg.ID] {
		c := &s.channels[i]
		sum += c.totalHi
		at, open := c.book.LatestEnd()
		quiet = quiet && !open && at <= s.clock.Now()
	}
	return sum, quiet
}

// leaks stops and locks out every channel that draws from a container.
func (t *turn) leaks(k *containerState, missing safety.Microlitres) {
	for _, i := range t.index.from[k.cfg.ID] {
		c := &t.channels[i]
		t.stopOutput(c.cfg, "*")
		t.lockOut(Scope{Channel: c.cfg.ID}, safety.Fault, fmt.Sprintf("container %s lost %s within an hour without a run: look for a siphon, a split tube, a leak, and at the tank; then clear this", k.cfg.ID, missing))
		t.cutSupply(c, fmt.Sprintf("container %s lost %s within an hour without a run", k.cfg.ID, missing))
	}
}

// compareLevel doubts the calibration where a sensor says for half an hour what the ledger cannot explain (H-23).
func (t *turn) compareLevel(k *containerState) {
	l := &k.level
	if k.max <= 0 { // nobody has said yet what it holds
		l.doubt, l.doubted = false, 0
		return
	}
	off := max(0, k.min) - l.volume
	if !l.atMost {
		off = max(off, l.volume-k.max)
	}
	switch {
	case off <= k.levelError()/2:
		l.doubt, l.doubted = false, 0
	case off <= k.levelError():
		l.doubted = 0
	case l.doubted == 0:
		l.doubted = max(1, t.now.Mono)
	case t.now.Mono-l.doubted >= doubtFor:
		l.doubt = true
	}
}

// lookAtLevels notices sensors that have fallen silent. What the last process doubted stays in doubt until a reading
// says otherwise: a restart is no reason to believe that it is over.
func (t *turn) lookAtLevels() {
	for i := range t.contents {
		k := &t.contents[i]
		l := &k.level
		if l.good && l.atMost { // it speaks when it changes
			t.compareLevel(k)
		}
		if l.good && !l.atMost && t.now.Mono-l.mono > levelStale {
			l.good, l.why, l.samples, l.leaks = false, fmt.Sprintf("nothing since %s", t.local(l.wall)), nil, 0
		}
		if a := t.alert(doubtAlert(k)); !l.seen && k.cfg.Level && a != nil && k.rest.doubt == "" {
			l.doubt = a.Raised
		}
	}
}

func doubtAlert(k *containerState) string { return "calibration-doubt-" + k.cfg.ID }

// doubtCeiling is the volume that ran last, above which a channel does not rise while a standing alert doubts what its
// container holds; nil: no doubt, or nothing ran yet.
func (s *State) doubtCeiling(c *channelState) *safety.Microlitres {
	k := s.container(c.cfg.Container)
	if len(c.volumes) == 0 || (!k.cfg.Level && k.rest.doubt == "") {
		return nil
	}
	if a := s.alert(doubtAlert(k)); a == nil || !a.Raised {
		return nil
	}
	return c.present()
}

func (t *turn) levelConditions(k *containerState, add adder) {
	l := &k.level
	if k.rest.doubt != "" && !l.doubt {
		add(doubtAlert(k), Warning, "%s; calibrate its channels, look at their outlets and at the container", k.rest.doubt)
	}
	if !k.cfg.Level {
		return
	}
	if l.doubt {
		add(doubtAlert(k), Warning, "the level of container %s does not agree with what the ledger counts; calibrate its channels, look at their outlets, or say with refill what it holds", k.cfg.ID)
	}
	if !l.good && t.lifetime() > levelStale {
		add("level-unread-"+k.cfg.ID, Notice, "container %s has no good level reading (%s)", k.cfg.ID, l.reason())
	}
}

func (l *levelState) reason() string {
	if !l.seen {
		return "nothing received yet"
	}
	return l.why
}

// leastLeft is what a container holds by the more careful of ledger and sensor.
func (k *containerState) leastLeft() safety.Microlitres {
	if k.level.good {
		return min(k.min, k.level.volume)
	}
	return k.min
}

// levelView fills in what the outside sees of a sensor.
func (k *containerState) levelView(v *ContainerView) {
	if !k.cfg.Level {
		return
	}
	why := k.level.reason()
	v.LevelWhy = &why
	if k.level.seen {
		v.LevelSeen = maybeTime(k.level.wall)
	}
	if k.level.good && !k.level.atMost {
		ml := max(0, k.level.volume).Millilitres()
		v.LevelML = &ml
	}
}
