package main

import (
	"flag"
	"fmt"
	"os"
	"os/signal"
	"reflect"
	"syscall"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

var interruptAll = flag.Bool("interrupt-all", false, "interrupt every step in every way, not only one step in each")

// cutShort is one step that is interrupted while its pump runs.
type cutShort struct {
	*rig
	service *process
	truth   *truth
	s       *terminal
}

// attendedSteps are the steps in which a pump runs and somebody looks on. reach goes as far as the run, and says how long
// it lasts; again takes the step up once more and brings it to its end, after what the next session finds done.
var attendedSteps = []struct {
	name  string
	reach func(*cutShort) (seconds float64)
	again func(*cutShort)
}{
	{"direction", (*cutShort).toDirection, func(b *cutShort) {
		b.session("Done already: placement, contents.")
		turn(b.s)
		b.s.expect("Enter pumps")
	}},
	{"priming", (*cutShort).toPriming, func(b *cutShort) {
		b.session("Done already: placement, contents.")
		turn(b.s)
		b.s.types("Enter pumps", "")
		b.s.types("Liquid at the outlet?", "y")
		b.s.expect("Cylinder or scale?")
	}},
	{"first trial", func(b *cutShort) float64 { b.toTrials(); return b.trial(1, "10s") }, func(b *cutShort) {
		b.session("Done already: placement, contents, direction, priming.")
		b.s.types("Cylinder or scale?", "c")
		b.trial(1, "2s")
		b.s.types("cylinder show?", "2.0")
		b.s.expect("Enter: next trial")
	}},
	{"third trial", (*cutShort).toThirdTrial, func(b *cutShort) {
		b.session("Done already: placement, contents, direction, priming.")
		b.s.types("Enter: next trial", "") // the first two are still there
		b.trial(3, "2s")
		b.s.types("cylinder show?", "0.49")
		b.s.expect("Enter: use these")
	}},
	{"test run", (*cutShort).toTestRun, func(b *cutShort) {
		b.session("Done already: placement, contents, direction, priming, calibration.")
		b.s.types("Enter gives 1 mL", "")
		b.s.types("cylinder show?", "0.99")
		b.s.expect("Do you agree")
	}},
	{"give", func(b *cutShort) float64 { b.give("14mL"); return 14 }, func(b *cutShort) {
		b.give("1mL")
		b.s.expect("the run ended: finished")
	}},
}

// interruptions, each with whether somebody is left who stops the pump; if not, it goes off at the end of its time.
var interruptions = []struct {
	name  string
	stops bool
	cut   func(*cutShort)
	mend  func(*cutShort)
}{
	{"Ctrl-C", true, func(b *cutShort) { b.s.keys("\x03") }, nil},
	{"a hang-up", true, func(b *cutShort) { b.s.hangUp() }, nil},
	{"a killed session", false, func(b *cutShort) { _ = b.s.cmd.Process.Kill() }, nil},
	{"a killed service", true, func(b *cutShort) { b.service.kill() }, func(b *cutShort) {
		b.takeOver()
		b.service = b.daemon("")
		b.owns(b.service)
	}},
	{"a lost broker", false, func(b *cutShort) { b.broker.Kill() }, func(b *cutShort) {
		mark := b.spy.mark()
		b.broker.Restart()
		b.spy.connected(2)
		b.service.awaitTimes("this instance owns the site", 2)
		b.awaitState(mark, "node/board", `"online":true`)
	}},
}

// usual is how each step is interrupted in ordinary runs.
var usual = []int{1, 4, 3, 2, 0, 3}

// TestInterruptions breaks off every step in which a pump runs, in every way there is: the pump stops in time, the books hold
// what truly left it and everything before, and the step can be taken up again.
func TestInterruptions(t *testing.T) {
	t.Parallel()
	// A process that is started with hang-ups ignored, as by nohup, keeps ignoring them: these are to feel them.
	signal.Notify(make(chan os.Signal, 1), syscall.SIGHUP)
	for i, step := range attendedSteps {
		for j, way := range interruptions {
			if !*interruptAll && j != usual[i] {
				continue
			}
			t.Run(step.name+" by "+way.name, func(t *testing.T) {
				t.Parallel()
				b := &cutShort{rig: newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), fmt.Sprintf("cut-%d-%d", i, j))}
				if step.name == "give" {
					b.commission()
				}
				b.truth = b.truly()
				b.service = b.daemon("")
				b.owns(b.service)
				seconds := step.reach(b)
				before := b.rows()
				given := b.truth.of(alkAt)
				way.cut(b)
				b.checkStopped(given, seconds, way.stops)
				if way.mend != nil {
					way.mend(b)
				}
				step.again(b)
				b.checkKept(before)
			})
		}
	}
}

// session begins, or takes up, a commissioning.
func (b *cutShort) session(first string) {
	b.t.Helper()
	b.s = inTerminal(b.t, "commission", "alk", "-c", b.config, "--by", "Ada")
	b.s.expect("Commissioning of channel alk")
	b.s.expect(first)
}

// running waits for the pump's start.
func (b *cutShort) running(mark int) {
	b.t.Helper()
	b.spy.await(mark, "the board's start", on(b.quay.Site+"/board/1/report", `"state":"started"`))
}

func (b *cutShort) toDirection() float64 {
	b.t.Helper()
	b.session("Enter or Ctrl-C stops it")
	lookAtPlacement(b.s)
	b.s.types("What does carbonate-jug hold now?", "full")
	mark := b.spy.mark()
	b.s.types("Enter runs the pump", "")
	b.running(mark)
	return 5
}

func (b *cutShort) toPriming() float64 {
	b.t.Helper()
	b.toDirection()
	b.s.types("stand still now?", "y")
	b.s.types("move from the container", "y")
	mark := b.spy.mark()
	b.s.types("Enter pumps 2.35 mL", "14 mL")
	b.running(mark)
	return 14
}

func (b *cutShort) toTrials() {
	b.t.Helper()
	b.toDirection()
	b.s.types("stand still now?", "y")
	b.s.types("move from the container", "y")
	b.s.types("Enter pumps 2.35 mL", "")
	b.s.types("Liquid at the outlet?", "y")
	b.s.types("Cylinder or scale?", "c")
}

// trial runs one trial of so many seconds.
func (b *cutShort) trial(n int, length string) float64 {
	b.t.Helper()
	mark := b.spy.mark()
	b.s.types(fmt.Sprintf("Trial %d.", n), length)
	b.running(mark)
	d, err := time.ParseDuration(length)
	if err != nil {
		b.t.Fatal(err)
	}
	return d.Seconds()
}

func (b *cutShort) toThirdTrial() float64 {
	b.t.Helper()
	b.toTrials()
	for n, shows := range []string{"0.5", "0.51"} {
		b.trial(n+1, "2s")
		b.s.types("cylinder show?", shows)
		b.s.types("Enter: next trial", "")
	}
	return b.trial(3, "10s")
}

// toTestRun has the pump believed slow, so that the test run takes long enough to be broken off.
func (b *cutShort) toTestRun() float64 {
	b.t.Helper()
	b.toTrials()
	for n, shows := range []string{"0.5", "0.51", "0.49"} {
		b.trial(n+1, "2s")
		b.s.types("cylinder show?", shows)
		if n < 2 {
			b.s.types("Enter: next trial", "")
		}
	}
	b.s.types("Enter: use these", "")
	b.s.types("Is it right", "yes")
	mark := b.spy.mark()
	b.s.types("Enter gives 1 mL", "")
	b.running(mark)
	return 4
}

func (b *cutShort) give(ml string) {
	b.t.Helper()
	mark := b.spy.mark()
	b.s = inTerminal(b.t, "give", "alk", ml, "--into", "vessel", "-c", b.config)
	b.running(mark)
}

// checkStopped waits for the pump's end: at once where somebody is left to stop it, else at the end of its time.
func (b *cutShort) checkStopped(before, seconds float64, stops bool) {
	b.t.Helper()
	const still = 700 * time.Millisecond
	most := 4 * time.Second // a loaded machine; the stop itself takes milliseconds
	if !stops {
		most = time.Duration(seconds*float64(time.Second)) + 2*time.Second
	}
	begun, last, changed := time.Now(), before, time.Now()
	for {
		if now := b.truth.of(alkAt); now != last {
			last, changed = now, time.Now()
		}
		if last > before && time.Since(changed) > still {
			break
		}
		if time.Since(begun) > most+still {
			b.t.Fatalf("the pump of %s still turns, or gave nothing, %s after the interruption: %.2f mL", b.quay.Site, time.Since(begun).Round(time.Second), last-before)
		}
		time.Sleep(20 * time.Millisecond)
	}
	if ran := b.truth.longestOf(alkAt).Seconds(); stops && seconds >= 10 && ran > seconds-2 {
		b.t.Errorf("the pump ran for %.1f s of %.0f s although somebody was left to stop it", ran, seconds)
	}
}

// checkKept holds that nothing was lost: what stood in the books before still does, each run has an outcome but for one that
// may be under way, and the books hold what truly left the pump.
func (b *cutShort) checkKept(before []machine.Row) {
	b.t.Helper()
	given := b.truth.of(alkAt)
	after := b.rows()
	if len(after) < len(before) || !reflect.DeepEqual(after[:len(before)], before) {
		b.t.Errorf("of %d rows before the interruption some are gone or changed; now there are %d", len(before), len(after))
	}
	reserved, ended := b.runs()
	for i, run := range reserved {
		if _, ok := ended[run.Run]; !ok && i < len(reserved)-1 {
			b.t.Errorf("the run %s (%s) has no outcome", run.Run, run.Purpose)
		}
	}
	if booked := b.booked("alk"); given > booked+0.001 {
		b.t.Errorf("alk truly gave %.3f mL, the ledger books at most %.3f mL", given, booked)
	}
}
