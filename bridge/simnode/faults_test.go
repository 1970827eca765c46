package simnode

import (
	"testing"
	"time"
)

func TestDeafNodeHearsNothing(t *testing.T) {
	for name, n := range map[string]Node{"board": goodBoard(t, nil), "relay": goodRelay(t, nil)} {
		n.SetFaults(epoch, Faults{Deaf: true})
		if outs := append(runAt(n, 0, 1, "a", 5), switchAt(n, 0, 1, "on 5")...); len(outs) != 0 || n.Running(1) {
			t.Errorf("%s: a deaf node said %q and runs: %v", name, told(t, outs), n.Running(1))
		}
		if n.Counts() != (Counts{Unheard: 2}) {
			t.Errorf("%s: counts %+v; want two unheard", name, n.Counts())
		}
	}
	b := goodBoard(t, nil)
	runAt(b, 0, 1, "a", 5)
	b.SetFaults(epoch, Faults{Deaf: true})
	wantTold(t, "a run in progress still ends by itself", b.Advance(after(10)), "1:finished a 5.000s 17/2")
}

func TestMuteNodeRunsWithoutReports(t *testing.T) {
	b := goodBoard(t, nil)
	b.SetFaults(epoch, Faults{Mute: true})
	wantTold(t, "start", runAt(b, 0, 1, "a", 5), "")
	wantTold(t, "end", b.Advance(after(10)), "")
	wantTold(t, "connect", b.Connect(after(10)), "online=1")
	wantDelivered(t, b, 1, ulAt10(5))
	b.SetFaults(after(10), Faults{})
	wantTold(t, "speaking again, lost reports were counted", runAt(b, 10, 1, "b", 5), "1:started b 17/3")

	r := goodRelay(t, nil)
	r.SetFaults(epoch, Faults{Mute: true})
	wantTold(t, "mute relay", switchAt(r, 0, 1, "on 5"), "")
	wantTold(t, "mute relay connects", r.Connect(epoch), "online=1")
}

func TestEveryNthReportIsLost(t *testing.T) {
	b := goodBoard(t, nil)
	b.SetFaults(epoch, Faults{DropReport: 2})
	wantTold(t, "1st", runAt(b, 0, 1, "a", 1), "1:started a 17/1")
	wantTold(t, "2nd", b.Advance(after(1)), "")
	wantTold(t, "3rd", runAt(b, 2, 1, "b", 1), "1:started b 17/3")
	wantTold(t, "4th", b.Advance(after(3)), "")
	b.SetFaults(after(3), Faults{DropReport: 1})
	wantTold(t, "all lost", runAt(b, 4, 1, "c", 1), "")
}

func TestReportsAreDoubledWithTheSameSeq(t *testing.T) {
	b := goodBoard(t, nil)
	b.SetFaults(epoch, Faults{DoubleReports: true})
	wantTold(t, "start", runAt(b, 0, 1, "a", 1), "1:started a 17/1, 1:started a 17/1")
	wantTold(t, "end", b.Advance(after(1)), "1:finished a 1.000s 17/2, 1:finished a 1.000s 17/2")
	wantDelivered(t, b, 1, ulAt10(1))
	if b.Counts().Runs != 1 {
		t.Errorf("runs = %d; want 1", b.Counts().Runs)
	}
}

func TestStuckContactStaysClosed(t *testing.T) {
	b := goodBoard(t, nil)
	b.SetFaults(epoch, Faults{StuckOn: true, Output: 1})
	if b.Flowing(1) {
		t.Fatal("a contact that cannot open went on by itself")
	}
	runAt(b, 0, 1, "a", 5)
	runAt(b, 0, 2, "b", 5)
	wantTold(t, "the board believes in the end", b.Advance(after(6)), "1:finished a 5.000s 17/3, 2:finished b 5.000s 17/4")
	if !b.Flowing(1) || b.Running(1) || b.Flowing(2) {
		t.Errorf("flowing %v %v, running %v; want output 1 stuck, 2 off", b.Flowing(1), b.Flowing(2), b.Running(1))
	}
	stopAt(b, 10, 1, "*")
	b.Reboot(after(20))
	wantTold(t, "another run on the stuck output", runAt(b, 30, 1, "c", 5), "1:started c 18/1")
	b.Advance(after(40))
	wantDelivered(t, b, 1, ulAt10(40)) // once the rate, not twice
	wantTold(t, "the contact opens", b.SetFaults(after(50), Faults{}), "")
	b.Advance(after(60))
	wantDelivered(t, b, 1, ulAt10(50))
}

func TestStuckDuringARunKeepsTheRun(t *testing.T) {
	b := goodBoard(t, nil)
	runAt(b, 0, 1, "a", 30)
	b.SetFaults(after(10), Faults{StuckOn: true})
	b.SetFaults(after(20), Faults{})
	wantTold(t, "end", b.Advance(after(30)), "1:finished a 30.000s 17/2")
	wantDelivered(t, b, 1, ulAt10(30))
}

func TestStuckRelayStateFollowsCoilOrContact(t *testing.T) {
	for _, feedback := range []bool{false, true} {
		r := goodRelay(t, func(o *RelayOptions) { o.Feedback = feedback })
		r.SetFaults(epoch, Faults{StuckOn: true})
		switchAt(r, 0, 1, "on 5")
		end, repaired := "1=OFF", ""
		if feedback {
			end, repaired = "1=ON", "1=OFF"
		}
		wantTold(t, "end of the timer", r.Advance(after(5)), end)
		wantTold(t, "off again", switchAt(r, 8, 1, "off"), end)
		wantTold(t, "repaired", r.SetFaults(after(9), Faults{}), repaired)
		wantDelivered(t, r, 1, ulAt10(9))
	}
}

func TestLateOff(t *testing.T) {
	b := goodBoard(t, nil)
	b.SetFaults(epoch, Faults{LateOff: 10 * time.Second})
	runAt(b, 0, 1, "a", 20)
	wantTold(t, "on time", b.Advance(after(29.999)), "")
	wantTold(t, "late", b.Advance(after(30)), "1:finished a 30.000s 17/2")
	runAt(b, 40, 1, "b", 55)
	wantTold(t, "the longest run still binds", b.Advance(after(100)), "1:finished b 60.000s 17/4")
	wantDelivered(t, b, 1, ulAt10(90))

	r := goodRelay(t, func(o *RelayOptions) { o.AutoOff = 20 * time.Second })
	r.SetFaults(epoch, Faults{LateOff: 10 * time.Second})
	switchAt(r, 0, 1, "on")
	r.Advance(after(100))
	wantDelivered(t, r, 1, ulAt10(30))
}

func TestDelaysAreBounded(t *testing.T) {
	b := goodBoard(t, nil)
	b.SetFaults(epoch, Faults{LateOff: 1 << 62, LateStart: -5})
	wantTold(t, "start", runAt(b, 0, 1, "a", 20), "1:started a 17/1")
	wantTold(t, "end by the longest run", b.Advance(after(100)), "1:finished a 60.000s 17/2")
}

func TestLateStart(t *testing.T) {
	b := goodBoard(t, nil)
	b.SetFaults(epoch, Faults{LateStart: 30 * time.Second})
	wantTold(t, "accepted", runAt(b, 0, 1, "a", 5), "")
	if !b.Running(1) || b.Flowing(1) {
		t.Errorf("running %v, flowing %v; want waiting", b.Running(1), b.Flowing(1))
	}
	wantTold(t, "busy meanwhile", runAt(b, 1, 1, "b", 5), "1:refused b busy 17/1")
	wantTold(t, "start and end, past the expiry", b.Advance(after(40)), "1:started a 17/2, 1:finished a 5.000s 17/3")
	wantDelivered(t, b, 1, ulAt10(5))
	runAt(b, 50, 1, "c", 5)
	wantTold(t, "stopped while waiting", stopAt(b, 60, 1, "c"), "1:stopped c 0.000s 17/4")
	runAt(b, 70, 1, "d", 5)
	b.Reboot(after(80))
	b.Advance(after(200))
	wantDelivered(t, b, 1, ulAt10(5))
}

func TestRateFactorAndBlockage(t *testing.T) {
	b := goodBoard(t, nil)
	runAt(b, 0, 1, "a", 40)
	b.SetFaults(after(10), Faults{RateFactor: 0.8})
	b.SetFaults(after(20), Faults{RateFactor: 1.5, Output: 2})
	b.SetFaults(after(30), Faults{Blocked: true})
	b.Advance(after(100))
	wantDelivered(t, b, 1, ulAt10(10+8+10+0))
	if got := b.Drain(nil); len(got) != 1 || !got[0].From.Equal(epoch) || !got[0].To.Equal(after(40)) {
		t.Errorf("deliveries %+v; want one from 0 to 40 s", got)
	}
	runAt(b, 200, 1, "dry", 5)
	b.Advance(after(300))
	if got := b.Drain(nil); len(got) != 0 {
		t.Errorf("a blocked output delivered %+v; want nothing", got)
	}
}

func TestRebootAt(t *testing.T) {
	b := goodBoard(t, nil)
	b.SetFaults(epoch, Faults{RebootAt: after(12)})
	runAt(b, 0, 1, "a", 30)
	if w, ok := b.NextWake(); !ok || !w.Equal(after(12)) {
		t.Errorf("NextWake = %v, %v; want the restart", w, ok)
	}
	wantTold(t, "restart, once", b.Advance(after(100)), "online=0, online=1")
	wantDelivered(t, b, 1, ulAt10(12))
	wantTold(t, "restart due in the past", b.SetFaults(after(100), Faults{RebootAt: after(50)}), "online=0, online=1")
	if w, ok := b.NextWake(); ok {
		t.Errorf("NextWake = %v; want none", w)
	}
}

func TestIgnoredTimerEndsOnlyByCommand(t *testing.T) {
	b := goodBoard(t, nil)
	b.SetFaults(epoch, Faults{IgnoresTimer: true, Output: 1})
	runAt(b, 0, 1, "a", 5)
	runAt(b, 0, 2, "b", 5)
	wantTold(t, "long after", b.Advance(after(500)), "2:finished b 5.000s 17/3")
	wantTold(t, "stop", stopAt(b, 500, 1, "a"), "1:stopped a 500.000s 17/4")
	wantDelivered(t, b, 1, ulAt10(500))
	runAt(b, 600, 1, "c", 5)
	b.Advance(after(700))
	wantTold(t, "fault gone", b.SetFaults(after(700), Faults{}), "1:finished c 100.000s 17/6")
}

func TestResumeAtBoot(t *testing.T) {
	b := goodBoard(t, func(o *BoardOptions) { o.BootTime = 2 * time.Second })
	b.SetFaults(epoch, Faults{ResumesAtBoot: true})
	runAt(b, 0, 1, "a", 10)
	b.Reboot(after(4))
	wantTold(t, "up", b.Advance(after(6)), "online=1, 1:started a 18/1")
	wantTold(t, "end by the longest run", b.Advance(after(100)), "1:finished a 60.000s 18/2")
	wantDelivered(t, b, 1, ulAt10(64))

	r := goodRelay(t, nil)
	r.SetFaults(epoch, Faults{ResumesAtBoot: true})
	switchAt(r, 0, 1, "on 10")
	wantTold(t, "relay restart", r.Reboot(after(4)), "online=0, online=1, 1=OFF, 2=OFF, 1=ON")
	r.Advance(after(100))
	wantDelivered(t, r, 1, ulAt10(100)) // the timer is lost
}

func TestTimeDoesNotGoBack(t *testing.T) {
	b := goodBoard(t, nil)
	runAt(b, 0, 1, "a", 10)
	b.Advance(after(5))
	wantTold(t, "an earlier call", b.Advance(after(-100)), "")
	wantDelivered(t, b, 1, ulAt10(5))
	wantTold(t, "going on", b.Advance(after(10)), "1:finished a 10.000s 17/2")
	wantDelivered(t, b, 1, ulAt10(10))
	if b.Delivered(0) != 0 || b.Delivered(3) != 0 || b.Running(0) || b.Flowing(3) {
		t.Error("outputs that do not exist deliver or run")
	}
}

func TestDrainCutsARunUnderWay(t *testing.T) {
	b := goodBoard(t, nil)
	runAt(b, 0, 1, "a", 10)
	b.Advance(after(4))
	first := b.Drain(nil)
	b.Advance(after(20))
	all := b.Drain(first)
	want := []Delivery{{1, epoch, after(4), ulAt10(4)}, {1, after(4), after(10), ulAt10(6)}}
	if len(all) != 2 {
		t.Fatalf("deliveries %+v; want %+v", all, want)
	}
	for i, d := range all {
		w := want[i]
		if d.Output != w.Output || !d.From.Equal(w.From) || !d.To.Equal(w.To) || d.Microlitres-w.Microlitres > 1e-6 || w.Microlitres-d.Microlitres > 1e-6 {
			t.Errorf("delivery %d is %+v; want %+v", i, d, w)
		}
	}
}

func TestQuietAdvanceAllocatesNothing(t *testing.T) {
	b := goodBoard(t, func(o *BoardOptions) { o.MaxRun = 24 * time.Hour })
	runAt(b, 0, 1, "a", 80_000)
	at := epoch
	if n := testing.AllocsPerRun(200, func() {
		at = at.Add(time.Second)
		b.Advance(at)
		b.NextWake()
	}); n != 0 {
		t.Errorf("Advance with nothing to say allocates %v times; want 0", n)
	}
	if !b.Flowing(1) {
		t.Fatal("the run ended during the measurement")
	}
}

func TestRoleNames(t *testing.T) {
	for r, want := range map[Role]string{Report: "report", Online: "online", State: "state", 9: "unknown"} {
		if r.String() != want {
			t.Errorf("Role(%d) = %q; want %q", uint8(r), r.String(), want)
		}
	}
}
