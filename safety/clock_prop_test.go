package safety

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// world is the truth around a clock: true time, a wall clock that is stepped and slewed, a kernel that is honest
// (it calls the clock synchronised only while it is right, and takes that back when somebody sets it), a keeper
// who sets the clock before confirming it, and a ledger of which the newest row survives.
type world struct {
	policy ClockTrust
	truth  time.Duration // since the ledger began
	start  time.Duration // truth when this process started
	off    time.Duration // wall − truth
	synced bool
	drift  time.Duration // all the small errors that a trusted clock cannot show

	clock Clock

	last     Elapsed // the newest row
	newest   time.Time
	newestAt Elapsed
}

func newWorld(policy ClockTrust) *world {
	w := &world{policy: policy}
	w.restart()
	return w
}

func (w *world) wall() time.Time { return noon.Add(w.truth + w.off) }

func (w *world) look() {
	w.clock = w.clock.Advance(Instant{Wall: w.wall(), Mono: w.truth - w.start, Synced: w.synced})
}

func (w *world) restart() {
	w.start = w.truth
	w.clock = NewClock(w.policy, w.last, w.newest, w.newestAt)
	w.look()
}

// record writes a row, as the machine does for each thing that happens.
func (w *world) record() {
	w.look()
	w.clock = w.clock.Recorded()
	w.last = w.clock.Now()
	if w.clock.Trusted() {
		w.newest, w.newestAt = w.clock.Wall(), w.last
	}
}

func (w *world) stepWall(by time.Duration) {
	w.off, w.synced = w.off+by, false
	if w.policy == TrustConfirmed && by.Abs() <= jumpLimit {
		w.drift += by.Abs() // too small to end a confirmation
	}
}

func (w *world) sync() { w.stepWall(-w.off); w.synced = true }

func (w *world) confirm() {
	w.stepWall(-w.off)
	w.look()
	w.clock = w.clock.Confirm()
}

var wallSteps = []time.Duration{
	time.Millisecond, -time.Millisecond, time.Second, -time.Second, 59 * time.Second, -59 * time.Second, time.Minute, -time.Minute,
	61 * time.Second, -61 * time.Second, time.Hour, -time.Hour, 25 * time.Hour, -25 * time.Hour, 365 * 24 * time.Hour, -365 * 24 * time.Hour,
}

var trueSteps = []time.Duration{
	0, time.Millisecond, time.Second, 15 * time.Second, time.Minute, 20 * time.Minute, time.Hour, 24 * time.Hour, 40 * 24 * time.Hour,
}

// disturb does one thing to the world.
func (w *world) disturb(t *rapid.T) {
	switch rapid.IntRange(0, 8).Draw(t, "what") {
	case 0, 1:
		w.truth += rapid.SampledFrom(trueSteps).Draw(t, "pass")
	case 2:
		w.stepWall(rapid.SampledFrom(wallSteps).Draw(t, "wall step"))
	case 3:
		w.sync()
	case 4:
		w.synced = false
	case 5:
		w.confirm()
	case 6: // crash: the time without a process passes unseen
		w.truth += rapid.SampledFrom(trueSteps).Draw(t, "off for")
		if rapid.Bool().Draw(t, "boots in the past") {
			w.stepWall(-time.Duration(rapid.Int64Range(0, int64(60*365*24*time.Hour)).Draw(t, "behind by")).Truncate(time.Millisecond))
		}
		w.restart()
	case 7:
		w.record()
	case 8:
		w.sync() // a quiet stretch in which trust returns
		for range 3 {
			w.look()
			w.truth += time.Minute
		}
	}
	w.look()
}

// Whatever happens to the wall clock, the axis never falls behind a row and never runs ahead of true time; and
// between two moments at which the clock was trusted it gains no more than truly passed, which is what windows,
// rests and spacings rest on. Under the confirmed policy it may be ahead by the steps too small to notice.
func TestH11H12H14INV1ElapsedNeverFallsNorOutrunsTruth(t *testing.T) {
	for name, policy := range map[string]ClockTrust{"synced": TrustSynced, "confirmed": TrustConfirmed} {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				w := newWorld(policy)
				type moment struct {
					at    Elapsed
					truth time.Duration
				}
				var trusted []moment
				for range rapid.IntRange(1, 60).Draw(t, "events") {
					w.disturb(t)
					now := w.clock.Now()
					ahead := time.Duration(now)*time.Millisecond - w.truth
					if ahead > w.drift {
						t.Fatalf("the axis is %s ahead of the truth (allowed %s)", ahead, w.drift)
					}
					if now < w.last {
						t.Fatalf("the axis fell to %d ms, behind the row at %d", now, w.last)
					}
					if !w.clock.Trusted() {
						continue
					}
					for _, m := range trusted {
						if gain, passed := time.Duration(now-m.at)*time.Millisecond, w.truth-m.truth; gain > passed+w.drift {
							t.Fatalf("the axis gained %s in %s", gain, passed)
						}
					}
					w.record() // a run could be booked now
					trusted = append(trusted, moment{w.clock.Now(), w.truth})
				}
			})
		})
	}
}

// Within one process the axis is true time, to the millisecond, whatever the wall clock does.
func TestH11H12AxisIsMonotonicTimeWithinAProcess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(rapid.SampledFrom([]ClockTrust{TrustSynced, TrustConfirmed, TrustDeclared}).Draw(t, "policy"))
		for range rapid.IntRange(1, 60).Draw(t, "events") {
			w.truth += time.Duration(rapid.Int64Range(0, int64(48*time.Hour)).Draw(t, "pass"))
			w.stepWall(rapid.SampledFrom(wallSteps).Draw(t, "wall step"))
			w.synced = rapid.Bool().Draw(t, "synced") // no honesty needed
			w.look()
			if rapid.Bool().Draw(t, "record") {
				w.record()
			}
			if want := Elapsed((w.truth - w.start) / time.Millisecond); w.clock.Now() != want {
				t.Fatalf("after %s the axis is at %d ms; want %d", w.truth, w.clock.Now(), want)
			}
		}
	})
}

// Trust is never given to a wall clock that is wrong by more than the small errors, under an honest kernel and a
// careful keeper.
func TestH14WrongWallIsNotTrusted(t *testing.T) {
	for name, policy := range map[string]ClockTrust{"synced": TrustSynced, "confirmed": TrustConfirmed} {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				w := newWorld(policy)
				for range rapid.IntRange(1, 60).Draw(t, "events") {
					w.disturb(t)
					if wrong := w.off.Abs(); w.clock.Trusted() && wrong > w.drift {
						t.Fatalf("a wall clock that is wrong by %s is trusted (allowed %s)", wrong, w.drift)
					}
				}
			})
		})
	}
}
