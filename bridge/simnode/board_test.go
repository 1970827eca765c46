package simnode

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
)

func TestBoardRunsAsTheContractSays(t *testing.T) {
	b := goodBoard(t, nil)
	outs := runAt(b, 0, 1, "a", 19.6)
	if got, want := string(outs[0].Payload), `{"v":1,"id":"a","state":"started","boot":17,"seq":1}`; got != want {
		t.Errorf("start report is %s; want %s", got, want)
	}
	if w, ok := b.NextWake(); !ok || !w.Equal(after(19.6)) {
		t.Errorf("NextWake = %v, %v; want the end of the run", w, ok)
	}
	if outs = b.Advance(after(19.599)); len(outs) != 0 || !b.Flowing(1) || !b.Running(1) {
		t.Errorf("just before the end the board said %q and flows %v; want silence and flow", told(t, outs), b.Flowing(1))
	}
	outs = b.Advance(after(19.6))
	if got, want := string(outs[0].Payload), `{"v":1,"id":"a","state":"finished","seconds":19.600,"boot":17,"seq":2}`; got != want {
		t.Errorf("end report is %s; want %s", got, want)
	}
	if !outs[0].At.Equal(after(19.6)) {
		t.Errorf("the end is said at %v; want %v", outs[0].At, after(19.6))
	}
	if _, ok := b.NextWake(); ok || b.Flowing(1) || b.Running(1) {
		t.Error("after the end the board still has something to do")
	}
	wantDelivered(t, b, 1, ulAt10(19.6))
	wantDelivered(t, b, 2, 0)
}

func TestBoardSaysTheEndLateButDatesItRight(t *testing.T) {
	b := goodBoard(t, nil)
	runAt(b, 0, 1, "a", 10)
	runAt(b, 0, 2, "b", 5)
	outs := b.Advance(after(3600))
	wantTold(t, "an hour later", outs, "2:finished b 5.000s 17/3, 1:finished a 10.000s 17/4")
	if !outs[0].At.Equal(after(5)) || !outs[1].At.Equal(after(10)) {
		t.Errorf("ends are dated %v and %v; want 5 s and 10 s after the start", outs[0].At, outs[1].At)
	}
}

func TestBoardRefusals(t *testing.T) {
	start := func(b *Board) { runAt(b, 0, 1, "first", 30) }
	tests := []struct {
		name    string
		options func(*BoardOptions)
		before  func(*Board)
		at      float64
		payload []byte
		want    string
	}{
		{name: "just before expiry", at: 9.999, payload: runPayload("a", 5, after(10)), want: "1:started a 17/1"},
		{name: "at expiry", at: 10, payload: runPayload("a", 5, after(10)), want: "1:started a 17/1"},
		{name: "just after expiry", at: 10.001, payload: runPayload("a", 5, after(10)), want: "1:refused a expired 17/1"},
		{name: "expired, board without a clock", options: func(o *BoardOptions) { o.HasClock = false }, at: 10.001,
			payload: runPayload("a", 5, after(10)), want: "1:started a 17/1"},
		{name: "expired by the board's wrong clock", before: func(b *Board) { b.SetFaults(epoch, Faults{ClockOffset: time.Hour}) },
			payload: runPayload("a", 5, after(10)), want: "1:refused a expired 17/1"},
		{name: "not expired by the board's wrong clock", before: func(b *Board) { b.SetFaults(epoch, Faults{ClockOffset: -time.Hour}) },
			at: 3000, payload: runPayload("a", 5, after(10)), want: "1:started a 17/1"},
		{name: "output busy", before: start, at: 29.999, payload: runPayload("a", 5, after(40)), want: "1:refused a busy 17/2"},
		{name: "output free again", before: start, at: 30, payload: runPayload("a", 5, after(40)),
			want: "1:finished first 30.000s 17/2, 1:started a 17/3"},
		{name: "id runs at present", before: start, at: 1, payload: runPayload("first", 30, after(10)), want: "1:refused first repeated 17/2"},
		{name: "id ran before", before: start, at: 40, payload: runPayload("first", 30, after(50)),
			want: "1:finished first 30.000s 17/2, 1:refused first repeated 17/3"},
		{name: "id ran before, board without ids", options: func(o *BoardOptions) { o.IDAware = false }, before: start, at: 40,
			payload: runPayload("first", 5, after(50)), want: "1:finished first 30.000s 17/2, 1:started first 17/3"},
		{name: "longest run", payload: runPayload("a", 60, after(10)), want: "1:started a 17/1"},
		{name: "too long", payload: runPayload("a", 60.001, after(10)), want: "1:refused a too_long 17/1"},
		{name: "absurdly long", payload: runPayload("a", 1e300, after(10)), want: "1:refused a too_long 17/1"},
		{name: "repeated comes before expired", before: start, at: 40, payload: runPayload("first", 90, after(10)),
			want: "1:finished first 30.000s 17/2, 1:refused first repeated 17/3"},
		{name: "expired comes before busy", before: start, at: 11, payload: runPayload("a", 90, after(10)), want: "1:refused a expired 17/2"},
		{name: "busy comes before too long", before: start, at: 1, payload: runPayload("a", 90, after(10)), want: "1:refused a busy 17/2"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := goodBoard(t, tt.options)
			if tt.before != nil {
				tt.before(b)
			}
			outs := b.Receive(after(tt.at), Command{Kind: Run, Output: 1, Payload: tt.payload})
			wantTold(t, "on the run", outs, tt.want)
			if want := strings.Count(tt.want, "refused"); b.Counts().Refused != want {
				t.Errorf("refused is counted as %d; want %d", b.Counts().Refused, want)
			}
		})
	}
}

func TestRefusedRunNeverStartsLater(t *testing.T) {
	b := goodBoard(t, nil)
	runAt(b, 0, 1, "first", 5)
	wantTold(t, "while busy", runAt(b, 1, 1, "a", 5), "1:refused a busy 17/2")
	wantTold(t, "its copy when free", runAt(b, 6, 1, "a", 5), "1:finished first 5.000s 17/3, 1:refused a repeated 17/4")
}

func TestBoardRemembersSixteenIDs(t *testing.T) {
	for _, others := range []int{14, 15, 16} {
		t.Run(fmt.Sprintf("%d runs since", others), func(t *testing.T) {
			b := goodBoard(t, nil)
			runAt(b, 0, 1, "old", 1)
			for i := range others {
				runAt(b, float64(2+2*i), 1+i%2, fmt.Sprint("other", i), 1)
				runAt(b, float64(2+2*i), 1+i%2, fmt.Sprint("other", i), 1) // a repeat takes no room
			}
			b.Advance(after(100))
			got := told(t, runAt(b, 100, 1, "old", 1))
			if refused := strings.Contains(got, "refused old repeated"); refused != (others < 16) {
				t.Errorf("after %d other ids the old one gave %q; want refused: %v", others, got, others < 16)
			}
		})
	}
}

func TestMalformedRunsAreIgnoredAndCounted(t *testing.T) {
	good := `{"v":1,"id":"a","seconds":5,"expires":"2027-03-02T09:00:10Z"}`
	tests := map[string]string{
		"empty":               "",
		"no JSON":             "run!",
		"null":                "null",
		"list":                "[" + good + "]",
		"trailing bytes":      good + "x",
		"wrong version":       strings.Replace(good, `"v":1`, `"v":2`, 1),
		"no version":          strings.Replace(good, `"v":1,`, "", 1),
		"no id":               strings.Replace(good, `"id":"a",`, "", 1),
		"empty id":            strings.Replace(good, `"a"`, `""`, 1),
		"id for everything":   strings.Replace(good, `"a"`, `"*"`, 1),
		"id is a number":      strings.Replace(good, `"a"`, `7`, 1),
		"no seconds":          strings.Replace(good, `"seconds":5,`, "", 1),
		"zero seconds":        strings.Replace(good, `:5,`, `:0,`, 1),
		"negative seconds":    strings.Replace(good, `:5,`, `:-5,`, 1),
		"seconds is text":     strings.Replace(good, `:5,`, `:"5",`, 1),
		"seconds overflow":    strings.Replace(good, `:5,`, `:1e999,`, 1),
		"no expiry":           strings.Replace(good, `,"expires":"2027-03-02T09:00:10Z"`, "", 1),
		"expiry is no time":   strings.Replace(good, `2027-03-02T09:00:10Z`, `soon`, 1),
		"larger than allowed": strings.Replace(good, `"a"`, `"`+strings.Repeat("a", 5000)+`"`, 1),
	}
	for name, payload := range tests {
		t.Run(name, func(t *testing.T) {
			b := goodBoard(t, nil)
			outs := b.Receive(epoch, Command{Kind: Run, Output: 1, Payload: []byte(payload)})
			if len(outs) != 0 || b.Running(1) || b.Counts() != (Counts{Malformed: 1}) {
				t.Errorf("payload %.80q gave %q, counts %+v; want silence and one malformed", payload, told(t, outs), b.Counts())
			}
		})
	}
	for _, output := range []int{-1, 0, 3} {
		b := goodBoard(t, nil)
		b.Receive(epoch, Command{Kind: Run, Output: output, Payload: []byte(good)})
		if b.Counts() != (Counts{Malformed: 1}) {
			t.Errorf("a run for output %d of 2 gave counts %+v; want one malformed", output, b.Counts())
		}
	}
	b := goodBoard(t, nil)
	b.Receive(epoch, Command{Kind: 9, Output: 1, Payload: []byte(good)})
	if b.Counts() != (Counts{Malformed: 1}) {
		t.Errorf("an unknown kind gave counts %+v; want one malformed", b.Counts())
	}
}

func TestUnknownFieldsAreIgnored(t *testing.T) {
	b := goodBoard(t, nil)
	payload := `{"v":1,"id":"a","seconds":5,"volume_ml":"much","expires":"2027-03-02T10:00:10+01:00","colour":{"x":[1]}}`
	wantTold(t, "unknown fields", b.Receive(epoch, Command{Kind: Run, Output: 1, Payload: []byte(payload)}), "1:started a 17/1")
}

func TestRunWithoutExpiryNeedsABoardWithoutClock(t *testing.T) {
	b := goodBoard(t, func(o *BoardOptions) { o.HasClock = false })
	outs := b.Receive(epoch, Command{Kind: Run, Output: 1, Payload: []byte(`{"v":1,"id":"a","seconds":5}`)})
	wantTold(t, "no expiry", outs, "1:started a 17/1")
}

func TestIDsAreSaidBackAsJSON(t *testing.T) {
	for _, id := range []string{"01J9ZK", `quote " and \`, "ümlaut", "a\tb", "\u2028", "<&>"} {
		b := goodBoard(t, nil)
		payload, err := json.Marshal(map[string]any{"v": 1, "id": id, "seconds": 1, "expires": after(10)})
		if err != nil {
			t.Fatal(err)
		}
		outs := b.Receive(epoch, Command{Kind: Run, Output: 1, Payload: payload})
		wantTold(t, "odd id", outs, "1:started "+id+" 17/1")
	}
}

func TestStops(t *testing.T) {
	tests := []struct {
		name   string
		output int
		id     string
		want   string
	}{
		{"by id", 1, "a", "1:stopped a 3.000s 17/3"},
		{"by id on another output's topic", 2, "a", "1:stopped a 3.000s 17/3"},
		{"everything, on one output's topic", 2, "*", "1:stopped a 3.000s 17/3, 2:stopped b 3.000s 17/4"},
		{"everything, on a topic without output", 0, "*", "1:stopped a 3.000s 17/3, 2:stopped b 3.000s 17/4"},
		{"an id that does not run", 1, "z", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := goodBoard(t, nil)
			runAt(b, 0, 1, "a", 10)
			runAt(b, 0, 2, "b", 20)
			wantTold(t, "on the stop", stopAt(b, 3, tt.output, tt.id), tt.want)
			if b.Running(1) == strings.Contains(tt.want, "stopped a") || b.Running(2) == strings.Contains(tt.want, "stopped b") {
				t.Errorf("running after the stop: %v and %v", b.Running(1), b.Running(2))
			}
			if !b.Running(1) {
				b.Advance(after(60))
				wantDelivered(t, b, 1, ulAt10(3))
			}
		})
	}
}

func TestStopWithNothingRunningIsSilent(t *testing.T) {
	b := goodBoard(t, nil)
	wantTold(t, "stop all", stopAt(b, 0, 1, "*"), "")
	for _, payload := range []string{"", "{}", `{"v":1}`, `{"v":2,"id":"*"}`, `{"v":1,"id":""}`, `{"v":1,"id":3}`} {
		b.Receive(epoch, Command{Kind: Stop, Output: 1, Payload: []byte(payload)})
	}
	b.Receive(epoch, Command{Kind: Stop, Output: 3, Payload: []byte(`{"v":1,"id":"*"}`)})
	if b.Counts() != (Counts{Malformed: 7}) {
		t.Errorf("seven bad stops gave counts %+v", b.Counts())
	}
}

func TestRetainedCommandsAreIgnored(t *testing.T) {
	b := goodBoard(t, nil)
	c := Command{Kind: Run, Output: 1, Payload: runPayload("a", 5, after(10)), Retained: true}
	wantTold(t, "retained run", b.Receive(epoch, c), "")
	if b.Running(1) || b.Counts() != (Counts{Retained: 1}) {
		t.Errorf("running %v, counts %+v; want off and one retained", b.Running(1), b.Counts())
	}
}

func TestRebootEndsRunsAndStartsNothing(t *testing.T) {
	b := goodBoard(t, func(o *BoardOptions) { o.BootTime = 4 * time.Second })
	runAt(b, 0, 1, "a", 30)
	wantTold(t, "at the power cut", b.Reboot(after(12)), "online=0")
	if b.Flowing(1) || b.Running(1) {
		t.Error("an output is on after a restart")
	}
	wantTold(t, "a run while booting", runAt(b, 13, 1, "lost", 5), "")
	wantTold(t, "connecting while booting", b.Connect(after(14)), "")
	if b.Counts().Unheard != 1 {
		t.Errorf("unheard is %d; want 1", b.Counts().Unheard)
	}
	if w, ok := b.NextWake(); !ok || !w.Equal(after(16)) {
		t.Errorf("NextWake = %v, %v; want the end of the boot", w, ok)
	}
	wantTold(t, "when up", b.Advance(after(100)), "online=1")
	wantDelivered(t, b, 1, ulAt10(12))
	wantTold(t, "the next run", runAt(b, 100, 1, "b", 5), "1:started b 18/1")
}

func TestIDsOverAReboot(t *testing.T) {
	for _, keeps := range []bool{false, true} {
		b := goodBoard(t, func(o *BoardOptions) { o.KeepsIDs = keeps })
		runAt(b, 0, 1, "a", 5)
		wantTold(t, "restart", b.Reboot(after(2)), "online=0, online=1")
		want := "1:started a 18/1"
		if keeps {
			want = "1:refused a repeated 18/1"
		}
		wantTold(t, fmt.Sprintf("the same id, kept: %v", keeps), runAt(b, 3, 1, "a", 5), want)
	}
}

func TestConnectAndWill(t *testing.T) {
	b := goodBoard(t, func(o *BoardOptions) { o.Up, o.Down = []byte("here"), []byte("") })
	wantTold(t, "birth", b.Connect(epoch), "online=here")
	wantTold(t, "will", []Out{b.Will(epoch)}, "online=")
	wantTold(t, "default will", []Out{goodBoard(t, nil).Will(epoch)}, "online=0")
}

func TestBoardOptionsAreChecked(t *testing.T) {
	good := BoardOptions{RatesMLPerMin: []float64{10}, MaxRun: time.Minute}
	tests := map[string]func(*BoardOptions){
		"no outputs":     func(o *BoardOptions) { o.RatesMLPerMin = nil },
		"zero rate":      func(o *BoardOptions) { o.RatesMLPerMin = []float64{10, 0} },
		"rate NaN":       func(o *BoardOptions) { o.RatesMLPerMin = []float64{math.NaN()} },
		"infinite rate":  func(o *BoardOptions) { o.RatesMLPerMin = []float64{math.Inf(1)} },
		"no longest run": func(o *BoardOptions) { o.MaxRun = 0 },
		"longest run":    func(o *BoardOptions) { o.MaxRun = 24*time.Hour + 1 },
		"boot time":      func(o *BoardOptions) { o.BootTime = -1 },
	}
	for name, spoil := range tests {
		o := good
		spoil(&o)
		if b, err := NewBoard(o); err == nil || b != nil {
			t.Errorf("%s: NewBoard(%+v) = %v, %v; want an error", name, o, b, err)
		}
	}
	good.MaxRun = 24 * time.Hour
	if _, err := NewBoard(good); err != nil {
		t.Errorf("NewBoard(%+v) = %v; want none", good, err)
	}
}
