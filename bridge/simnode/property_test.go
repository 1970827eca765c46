package simnode

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// tick is the grain of the naive node; every time and duration drawn below is a multiple of it.
const tick = 100 * time.Millisecond

// naive is a second, plain implementation of what flows: it looks at every output in every tick.
type naive struct {
	maxRun int // ticks; 0: relay without a limit
	outs   [2]naiveOutput
	faults Faults
	now    int
}

type naiveOutput struct {
	accepted, on bool // the firmware's
	contact      bool
	start, armed int
	wanted       int
	ticksOpen    float64 // contact time × rate factor
}

func (v *naive) concerns(i int) bool { return v.faults.Output == 0 || v.faults.Output == i+1 }

func (v *naive) off(i int) {
	o := &v.outs[i]
	o.accepted, o.on = false, false
	if !v.faults.StuckOn || !v.concerns(i) {
		o.contact = false
	}
}

func (v *naive) settle() {
	for i := range v.outs {
		o := &v.outs[i]
		if o.accepted && !o.on && v.now >= o.start {
			o.on, o.contact, o.armed, o.start = true, true, v.now, v.now
		}
		if !o.on || v.concerns(i) && v.faults.IgnoresTimer {
			continue
		}
		late := 0
		if v.concerns(i) {
			late = int(v.faults.LateOff / tick)
		}
		if o.wanted > 0 && v.now >= o.armed+o.wanted+late || v.maxRun > 0 && v.now >= o.start+v.maxRun {
			v.off(i)
		}
	}
}

// pass settles, then lets one tick flow.
func (v *naive) pass(ticks int) {
	for range ticks {
		for i := range v.outs {
			factor := 1.0
			if v.concerns(i) && v.faults.RateFactor != 0 {
				factor = v.faults.RateFactor
			}
			if v.outs[i].contact {
				v.outs[i].ticksOpen += factor
			}
		}
		v.now++
		v.settle()
	}
}

func (v *naive) accept(i, wanted int) {
	o := &v.outs[i]
	*o = naiveOutput{accepted: true, contact: o.contact, start: v.now, wanted: wanted, ticksOpen: o.ticksOpen}
	if v.concerns(i) {
		o.start += int(v.faults.LateStart / tick)
	}
	v.settle()
}

func (v *naive) setFaults(f Faults) {
	v.faults = f
	for i := range v.outs {
		if !v.outs[i].on && !(f.StuckOn && v.concerns(i)) {
			v.outs[i].contact = false
		}
	}
	v.settle()
}

func drawFaults(t *rapid.T) Faults {
	if rapid.Bool().Draw(t, "good") {
		return Faults{}
	}
	return Faults{
		Output:       rapid.IntRange(0, 2).Draw(t, "struck"),
		StuckOn:      rapid.Bool().Draw(t, "stuck"),
		IgnoresTimer: rapid.Bool().Draw(t, "ignores"),
		LateOff:      tick * time.Duration(rapid.IntRange(0, 50).Draw(t, "lateOff")),
		LateStart:    tick * time.Duration(rapid.IntRange(0, 50).Draw(t, "lateStart")),
		RateFactor:   rapid.SampledFrom([]float64{0, 0.5, 1.25}).Draw(t, "rate"),
		Mute:         rapid.Bool().Draw(t, "mute"),
	}
}

// sequence drives a node and the naive one by the same drawn actions.
type sequence struct {
	node  Node
	relay bool
	v     naive
	runs  int
	said  []Out
}

func (s *sequence) now() time.Time { return epoch.Add(time.Duration(s.v.now) * tick) }

func (s *sequence) step(t *rapid.T, faults bool) {
	if rapid.Bool().Draw(t, "wait") {
		ticks := rapid.IntRange(1, 400).Draw(t, "ticks")
		if rapid.Bool().Draw(t, "look") { // a call between ticks must not matter
			s.said = append(s.said, s.node.Advance(s.now().Add(tick/3))...)
		}
		s.v.pass(ticks)
	}
	i := rapid.IntRange(0, 1).Draw(t, "output")
	switch action := rapid.IntRange(0, 5).Draw(t, "action"); {
	case action <= 2:
		s.start(t, i)
	case action == 3:
		s.stop(i)
	case action == 4 && faults:
		f := drawFaults(t)
		s.said = append(s.said, s.node.SetFaults(s.now(), f)...)
		s.v.setFaults(f)
	case action == 5:
		s.said = append(s.said, s.node.Reboot(s.now())...)
		s.v.off(0)
		s.v.off(1)
	}
}

func (s *sequence) start(t *rapid.T, i int) {
	s.runs++
	wanted := rapid.IntRange(1, 320).Draw(t, "wanted")
	seconds := float64(wanted) / 10
	if s.relay {
		s.said = append(s.said, s.node.Receive(s.now(), Command{Output: i + 1, Payload: fmt.Appendf(nil, "on %g", seconds)})...)
		if o := &s.v.outs[i]; o.accepted {
			o.armed, o.wanted = s.v.now, wanted
			return
		}
	} else {
		payload := runPayload(fmt.Sprint("id", s.runs), seconds, s.now())
		s.said = append(s.said, s.node.Receive(s.now(), Command{Kind: Run, Output: i + 1, Payload: payload})...)
	}
	if !s.v.outs[i].accepted && (s.v.maxRun == 0 || wanted <= s.v.maxRun) {
		s.v.accept(i, wanted)
	}
}

func (s *sequence) stop(i int) {
	if s.relay {
		s.said = append(s.said, s.node.Receive(s.now(), Command{Output: i + 1, Payload: []byte("off")})...)
		s.v.off(i)
		return
	}
	s.said = append(s.said, s.node.Receive(s.now(), Command{Kind: Stop, Payload: []byte(`{"v":1,"id":"*"}`)})...)
	s.v.off(0)
	s.v.off(1)
}

func drawSequence(t *rapid.T, tb testing.TB, relay, faults bool) *sequence {
	s := &sequence{relay: relay}
	if relay {
		s.node = goodRelay(tb, nil)
	} else {
		s.node, s.v.maxRun = goodBoard(tb, func(o *BoardOptions) { o.MaxRun = 30 * time.Second }), 300
	}
	for range rapid.IntRange(1, 40).Draw(t, "steps") {
		s.step(t, faults)
	}
	s.said = append(s.said, s.node.Advance(s.now())...)
	return s
}

func TestDeliveredIsRateTimesOnTime(t *testing.T) {
	rates := []float64{10, 6}
	for _, relay := range []bool{false, true} {
		t.Run(fmt.Sprintf("relay %v", relay), func(t *testing.T) {
			rapid.Check(t, func(rt *rapid.T) {
				s := drawSequence(rt, t, relay, true)
				var drained [2]float64
				var last [2]time.Time
				for _, d := range s.node.Drain(nil) {
					i := d.Output - 1
					if d.From.Before(last[i]) || !d.To.After(d.From) || !(d.Microlitres > 0) {
						rt.Fatalf("delivery %+v overlaps one that ended at %v, or is empty", d, last[i])
					}
					drained[i], last[i] = drained[i]+d.Microlitres, d.To
				}
				for i, rate := range rates {
					want := rate * 1000 / 60 * s.v.outs[i].ticksOpen * tick.Seconds()
					if got := s.node.Delivered(i + 1); !(math.Abs(got-want) < 1e-3) {
						rt.Fatalf("output %d delivered %.3f µL; the naive node says %.3f", i+1, got, want)
					}
					if !(math.Abs(drained[i]-want) < 1e-3) {
						rt.Fatalf("output %d drained %.3f µL; want %.3f", i+1, drained[i], want)
					}
					if s.node.Flowing(i+1) != s.v.outs[i].contact || s.node.Running(i+1) != s.v.outs[i].accepted {
						rt.Fatalf("output %d flows %v, runs %v; the naive node says %+v", i+1, s.node.Flowing(i+1), s.node.Running(i+1), s.v.outs[i])
					}
				}
			})
		})
	}
}

func TestNeverTwoRunsAndNeverPastTheLongest(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := drawSequence(rt, t, false, false)
		var open [2]bool
		for _, o := range s.said {
			if o.Role == Online {
				open = [2]bool{} // a restart ends runs without a word
				continue
			}
			state, _, _ := strings.Cut(toldReport(t, o), " ")
			i := o.Output - 1
			switch {
			case state == "started" && open[i]:
				rt.Fatalf("output %d started twice: %s", o.Output, o.Payload)
			case (state == "finished" || state == "stopped") && !open[i]:
				rt.Fatalf("output %d ended without a start: %s", o.Output, o.Payload)
			case state != "refused":
				open[i] = state == "started"
			}
		}
		for _, d := range s.node.Drain(nil) {
			if d.To.Sub(d.From) > 30*time.Second {
				rt.Fatalf("delivery %+v is longer than the longest run of 30 s", d)
			}
		}
	})
}

func TestSameCallsSameBytes(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b, twin := goodBoard(t, nil), goodBoard(t, nil)
		for range rapid.IntRange(1, 30).Draw(rt, "steps") {
			at := float64(rapid.IntRange(0, 500).Draw(rt, "at"))
			id := rapid.SampledFrom([]string{"a", "b", "c", "d"}).Draw(rt, "id")
			output := rapid.IntRange(1, 2).Draw(rt, "output")
			f := drawFaults(rt)
			first := append(b.SetFaults(after(at), f), runAt(b, at, output, id, 7)...)
			second := append(twin.SetFaults(after(at), f), runAt(twin, at, output, id, 7)...)
			if x, y := fmt.Sprintf("%v", first), fmt.Sprintf("%v", second); x != y {
				rt.Fatalf("two boards differ:\n%s\n%s", x, y)
			}
		}
	})
}

func FuzzBoardPayload(f *testing.F) {
	f.Add([]byte(`{"v":1,"id":"a","seconds":5,"expires":"2027-03-02T09:00:10Z"}`))
	f.Add([]byte(`{"v":1,"id":"*"}`))
	f.Add([]byte(`{"v":1,"id":"\u0000","seconds":1e-300}`))
	f.Fuzz(func(t *testing.T, payload []byte) {
		for _, kind := range []Kind{Run, Stop} {
			b := goodBoard(t, func(o *BoardOptions) { o.HasClock = false })
			outs := b.Receive(epoch, Command{Kind: kind, Output: 1, Payload: payload})
			if malformed := b.Counts().Malformed == 1; malformed && (len(outs) != 0 || b.Running(1)) {
				t.Errorf("%q is malformed, but the board said %q", payload, told(t, outs))
			}
			b.Advance(after(3600))
			if got := b.Delivered(1); !(got >= 0 && got <= ulAt10(60)+1e-6) {
				t.Errorf("%q delivered %v µL; want at most the longest run", payload, got)
			}
		}
	})
}
