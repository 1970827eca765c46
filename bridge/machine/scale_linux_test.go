package machine_test

import (
	"runtime"
	"runtime/debug"
	"syscall"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Four times as many systems cost about four times as much: of a second in which nothing happens, such a second with every
// channel locked out, an hour with its plans, and a fold. The square of it would be sixteen times. Each is measured several
// times, in turn, by the time that the processor worked for it, and the least counts: what else the computer does only adds.
func TestFarmGrowsLinearly(t *testing.T) {
	const small, large, most = 100, 400, 11.0
	least := map[string]map[int]time.Duration{}
	note := func(name string, systems int, d time.Duration) {
		if least[name] == nil {
			least[name] = map[int]time.Duration{small: time.Hour, large: time.Hour}
		}
		least[name][systems] = min(least[name][systems], d)
	}
	farms, rows := map[int]*machine.Site{small: farm(small), large: farm(large)}, map[int][]machine.Row{}
	for systems, site := range farms {
		day := farmDay(site)
		rows[systems] = day[:len(day)/4] // 24 runs of each channel
	}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	defer debug.SetGCPercent(debug.SetGCPercent(-1)) // the collector works between measurements
	for range 4 {
		for systems, site := range farms {
			runtime.GC()
			began := worked()
			f := machine.NewFold(site)
			for _, r := range rows[systems] {
				f.Add(r)
			}
			note("fold", systems, worked()-began)
			locked := f.Clone()
			last := rows[systems][len(rows[systems])-1]
			for _, c := range site.Channels {
				last.Seq++
				last.Body = machine.Lockout{Scope: machine.Scope{Channel: c.ID}, Code: safety.Fault, Text: "a trial"}
				locked.Add(last)
			}
			w := beginFarm(f.State(), last.At)
			note("second", systems, w.seconds())
			note("hour", systems, w.step(time.Hour))
			w = beginFarm(locked.State(), last.At)
			note("second locked out", systems, w.seconds())
			if v := machine.Snapshot(&w.state); len(v.Alerts) < 4*systems || !v.Channels[4*systems-1].LockedOut {
				t.Fatalf("%d alerts: not every channel is locked out", len(v.Alerts))
			}
		}
	}
	for name, d := range least {
		ratio := float64(d[large]) / float64(d[small])
		t.Logf("%s: %v and %v, %.1f times", name, d[small], d[large], ratio)
		if ratio > most {
			t.Errorf("%s: %d systems take %.1f times as long as %d (%v, %v); at most %g times", name, large, ratio, small, d[large], d[small], most)
		}
	}
}

// farmStepper steps a farm and looks at the clock.
type farmStepper struct {
	state machine.State
	now   safety.Instant
}

// beginFarm starts a farm whose nodes are all silent, and lets the alerts of that be raised.
func beginFarm(s machine.State, at time.Time) *farmStepper {
	w := &farmStepper{state: s, now: safety.Instant{Wall: at.Add(time.Minute), Synced: true}}
	for _, e := range []machine.Event{machine.Booted{Instance: "one"}, machine.LinkChanged{Up: true}} {
		w.state, _ = machine.Step(w.state, w.now, e)
	}
	w.step(5 * time.Minute)
	return w
}

// step lets time pass and says for how long the processor worked for it.
func (w *farmStepper) step(by time.Duration) time.Duration {
	w.now.Wall, w.now.Mono = w.now.Wall.Add(by), w.now.Mono+by
	began := worked()
	w.state, _ = machine.Step(w.state, w.now, machine.Woke{})
	return worked() - began
}

// seconds is for how long the processor worked for a hundred seconds, one by one.
func (w *farmStepper) seconds() time.Duration {
	began := worked()
	for range 100 {
		w.step(time.Second)
	}
	return worked() - began
}

// worked is for how long the processor has worked for this thread.
func worked() time.Duration {
	var u syscall.Rusage
	const thread = 1 // RUSAGE_THREAD
	if err := syscall.Getrusage(thread, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
