package bridge

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// runCommand is what a node reads.
type runCommand struct {
	ID       string    `json:"id"`
	Seconds  float64   `json:"seconds"`
	VolumeML float64   `json:"volume_ml"`
	Expires  time.Time `json:"expires"`
}

func lastRun(t *testing.T, w *wire) runCommand {
	t.Helper()
	all := w.on("pumps/1/run")
	if len(all) == 0 {
		t.Fatal("no run command was sent")
	}
	var c runCommand
	if err := json.Unmarshal([]byte(all[len(all)-1]), &c); err != nil {
		t.Fatal(err)
	}
	return c
}

// goodNode reports start and end of every run.
func (r *rig) goodNode() {
	inner := r.wire.notify
	seq := 0
	r.wire.notify = func(m Message) {
		inner(m)
		if m.Topic != "pumps/1/run" {
			return
		}
		var c runCommand
		if json.Unmarshal(m.Payload, &c) != nil {
			return
		}
		seq += 2
		first := seq
		go func() {
			say := func(state string, n int, extra string) {
				r.b.Deliver(Message{Topic: "pumps/1/report", QoS: 1, Payload: fmt.Appendf(nil, `{"v":1,"id":%q,"state":%q,"boot":1,"seq":%d%s}`, c.ID, state, n, extra)})
			}
			time.Sleep(20 * time.Millisecond)
			say("started", first, "")
			time.Sleep(time.Duration(c.Seconds * float64(time.Second)))
			say("finished", first+1, fmt.Sprintf(`,"seconds":%.3f`, c.Seconds))
		}()
	}
}

// A day of schedule, in milliseconds: one run an hour, each recorded before it is sent (INV-4).
func TestINV4ADayOfRunsEachRecordedBeforeItIsSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.goodNode()
		r.connect()
		time.Sleep(24*time.Hour - 10*time.Minute) // the bubble begins at midnight
		synctest.Wait()
		sent := len(r.wire.on("pumps/1/run"))
		if sent != 24 {
			t.Errorf("%d runs in a day of hourly slots, want 24", sent)
		}
		r.book.mu.Lock()
		befores := append([]int(nil), r.book.runsBefore...)
		r.book.mu.Unlock()
		for i, before := range befores {
			if before != i {
				t.Errorf("when run %d was recorded, %d had left already", i+1, before)
			}
		}
		if ended := r.book.count("run_ended"); ended != sent {
			t.Errorf("%d runs sent, %d ended", sent, ended)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

func TestH39NothingBehindABrokenLedgerButStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		r.book.mu.Lock()
		r.book.broke = errors.New("disk full")
		r.book.mu.Unlock()
		stops := len(r.wire.on("pumps/1/stop"))
		r.b.Deliver(Message{Topic: "aliquot/shed/ask/run", Payload: []byte(`{"ref":"x","channel":"alk","volume_ml":2}`)})
		time.Sleep(time.Second)
		synctest.Wait()
		if got := r.wire.on("pumps/1/run"); len(got) != 0 {
			t.Errorf("a run was sent without a row: %v", got)
		}
		if got := len(r.wire.on("pumps/1/stop")); got <= stops {
			t.Error("no stop was sent when the ledger broke")
		}
		time.Sleep(3 * time.Hour)
		if got := r.wire.on("pumps/1/run"); len(got) != 0 {
			t.Errorf("a run was sent with a broken ledger: %v", got)
		}
		r.ask("stop", map[string]any{"ref": "s", "all": true})
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

func TestACommandThatIsNotHandedOverIsNotSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		r.wire.mu.Lock()
		r.wire.fail = true
		r.wire.mu.Unlock()
		r.b.Deliver(Message{Topic: "aliquot/shed/ask/run", Payload: []byte(`{"ref":"x","channel":"alk","volume_ml":2}`)})
		time.Sleep(time.Second)
		synctest.Wait()
		var outcome machine.Outcome
		for _, row := range r.book.all() {
			if e, ok := row.Body.(machine.RunEnded); ok {
				outcome = e.Outcome
			}
		}
		if outcome != safety.NotSent {
			t.Errorf("outcome %q, want %q", outcome, safety.NotSent)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

// A record that took longer than a run may wait must not be followed by its command (INV-5).
func TestINV5ASlowRecordIsNotFollowedByItsCommand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, func(o *Options) { o.Ledger = slowBook{o.Ledger} })
		r.connect()
		r.b.Deliver(Message{Topic: "aliquot/shed/ask/run", Payload: []byte(`{"ref":"x","channel":"alk","volume_ml":2}`)})
		time.Sleep(time.Minute)
		synctest.Wait()
		if r.book.count("run_reserved") == 0 {
			t.Fatal("the run was not even recorded")
		}
		if got := r.wire.on("pumps/1/run"); len(got) != 0 {
			t.Errorf("a command left %s after its creation", safety.RunTTL)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

// slowBook takes 11 s for a reservation.
type slowBook struct{ Ledger }

func (s slowBook) Append(rows []machine.Row) error {
	for _, r := range rows {
		if _, ok := r.Body.(machine.RunReserved); ok {
			time.Sleep(safety.RunTTL + time.Second)
		}
	}
	return s.Ledger.Append(rows)
}

func TestH15APanicStopsThePumpsAndEndsTheLoop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, func(o *Options) { o.Ledger = panicBook{o.Ledger} })
		r.connect()
		stops := len(r.wire.on("pumps/1/stop"))
		r.b.Deliver(Message{Topic: "aliquot/shed/ask/run", Payload: []byte(`{"ref":"x","channel":"alk","volume_ml":2}`)})
		err := <-r.ended
		if err == nil || !strings.Contains(err.Error(), "the page is torn") {
			t.Errorf("error %v", err)
		}
		if got := len(r.wire.on("pumps/1/stop")); got <= stops {
			t.Error("no stop was sent after the panic")
		}
		r.cancel()
	})
}

// Whoever watches the process hears from the loop at least once a second, and hears when the ledger is broken.
func TestH16TheLoopShowsThatItTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var last time.Time
		var longest time.Duration
		var good bool
		r := startRig(t, func(o *Options) {
			o.Turned = func(ledgerGood bool) {
				now := time.Now()
				if !last.IsZero() {
					longest = max(longest, now.Sub(last))
				}
				last, good = now, ledgerGood
			}
		})
		r.connect()
		time.Sleep(time.Minute)
		synctest.Wait()
		if longest > time.Second || !good {
			t.Errorf("the loop was silent for %s, ledger good %v; want at most a second, true", longest, good)
		}
		r.book.mu.Lock()
		r.book.broke = errors.New("disk full")
		r.book.mu.Unlock()
		r.b.Deliver(Message{Topic: "aliquot/shed/ask/note", Payload: []byte(`{"ref":"n","kind":"other"}`)})
		time.Sleep(2 * time.Second)
		synctest.Wait()
		if good {
			t.Error("the ledger is said to be good after it broke")
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

type panicBook struct{ Ledger }

func (p panicBook) Append(rows []machine.Row) error {
	for _, r := range rows {
		if _, ok := r.Body.(machine.RunReserved); ok {
			panic("the page is torn")
		}
	}
	return p.Ledger.Append(rows)
}

func TestINV11StopsAtConnectAndAtTheEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		if got := len(r.wire.on("pumps/1/stop")); got != 1 {
			t.Errorf("%d stops after connecting, want 1", got)
		}
		if got := r.wire.on("aliquot/shed/availability"); len(got) != 1 || got[0] != "online" {
			t.Errorf("availability %v, want online once", got)
		}
		if err := r.stop(); err != nil {
			t.Fatal(err)
		}
		if got := len(r.wire.on("pumps/1/stop")); got != 2 {
			t.Errorf("%d stops after the end, want 2", got)
		}
		if got := r.wire.on("aliquot/shed/availability"); got[len(got)-1] != "offline" {
			t.Errorf("availability ends with %v, want offline", got)
		}
		if r.book.count("daemon_stopped") != 1 {
			t.Error("the end is not in the ledger")
		}
	})
}

func TestBadMessagesChangeNothingAndAreAnswered(t *testing.T) {
	for _, c := range []struct {
		name, topic, payload, code, ref string
		retained                        bool
	}{
		{name: "not JSON", topic: "ask/test", payload: "8.3", code: "bad_payload"},
		{name: "retained", topic: "ask/test", payload: `{"ref":"a","quantity":"alkalinity","value":8,"unit":"dKH"}`, retained: true, code: "retained"},
		{name: "oversized", topic: "ask/note", payload: `{"ref":"a","text":"` + strings.Repeat("x", safety.MaxPayload) + `"}`, code: "too_large"},
		{name: "unknown verb", topic: "ask/dance", payload: `{"ref":"a"}`, code: "unknown_verb"},
		{name: "unknown field", topic: "ask/test", payload: `{"ref":"a","quantity":"alkalinity","value":8,"unit":"dKH","colour":"red"}`, code: "bad_payload", ref: "a"},
		{name: "decimal comma", topic: "ask/test", payload: `{"ref":"a","quantity":"alkalinity","value":"8,3","unit":"dKH"}`, code: "not_a_number", ref: "a"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r := startRig(t, nil)
				r.connect()
				rows := len(r.book.all())
				r.b.Deliver(Message{Topic: "aliquot/shed/" + c.topic, Payload: []byte(c.payload), Retained: c.retained})
				synctest.Wait()
				if len(r.book.all()) != rows {
					t.Error("a row was written")
				}
				got := r.wire.on("aliquot/shed/problem")
				if len(got) != 1 || !strings.Contains(got[0], fmt.Sprintf("%q:%q", "code", c.code)) {
					t.Errorf("problems %v, want one with code %s", got, c.code)
				}
				if c.ref != "" && !strings.Contains(strings.Join(got, ""), fmt.Sprintf("%q:%q", "ref", c.ref)) {
					t.Errorf("problem %v does not carry the reference %s", got, c.ref)
				}
				if err := r.stop(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

func TestARepeatedRequestIsDoneOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.goodNode()
		r.connect()
		for range 10 {
			r.b.Deliver(Message{Topic: "aliquot/shed/ask/run", Payload: []byte(`{"ref":"tap","channel":"alk","volume_ml":2}`)})
		}
		time.Sleep(30 * time.Second)
		synctest.Wait()
		if got := len(r.wire.on("pumps/1/run")); got != 1 {
			t.Errorf("%d runs for one reference, want 1", got)
		}
		if c := lastRun(t, r.wire); c.Seconds != 11.999 || c.Expires.IsZero() {
			t.Errorf("run command %+v", c)
		}
		answers := r.wire.on("aliquot/shed/answer")
		if len(answers) != 10 {
			t.Errorf("%d answers, want 10", len(answers))
		}
		for _, a := range answers {
			if a != answers[0] {
				t.Errorf("answers differ:\n%s\n%s", a, answers[0])
			}
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

func TestH38AFloodIsDroppedBeforeItIsRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		for i := range 10_000 {
			r.b.Deliver(Message{Topic: "aliquot/shed/ask/note", Payload: fmt.Appendf(nil, `{"ref":"n%d","kind":"other"}`, i)})
		}
		synctest.Wait()
		if got := len(r.wire.on("aliquot/shed/answer")); got > 60 {
			t.Errorf("%d of 10000 requests in one instant were taken", got)
		}
		if got := len(r.wire.on("aliquot/shed/problem")); got > 60 {
			t.Errorf("%d problems published for one flooded topic", got)
		}
		time.Sleep(5 * time.Second)
		if a := r.ask("stop", map[string]any{"ref": "s", "all": true}); a["ok"] != true {
			t.Errorf("stop after the flood: %v", a)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

func TestRetainedStateIsPublishedOnceAndAgainAfterAReconnect(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		const topic = "aliquot/shed/state/container/can"
		time.Sleep(10 * time.Second)
		first := len(r.wire.on(topic))
		if first != 1 {
			t.Errorf("an unchanged state was published %d times", first)
		}
		r.b.LinkDown()
		r.b.LinkUp()
		time.Sleep(2 * time.Second)
		if got := len(r.wire.on(topic)); got != first+1 {
			t.Errorf("after a reconnect it was published %d times more, want once", got-first)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

// Somebody who wants the pumps to stop gets it, whatever is wrong with the message.
// Whoever asks and then looks sees what came of it, without a second's wait; a flood of requests does not publish with each.
func TestTheStateFollowsARequestAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		const can = "aliquot/shed/state/container/can"
		before := len(r.wire.on(can))
		time.Sleep(300 * time.Millisecond) // past showGap, before the next look-through
		r.ask("refill", map[string]any{"ref": "r", "container": "can", "remaining_ml": 1234})
		states := r.wire.on(can)
		if len(states) != before+1 || !strings.Contains(states[len(states)-1], "1234") {
			t.Errorf("after the answer the broker holds %v", states[before:])
		}
		for n := range 30 {
			r.ask("refill", map[string]any{"ref": fmt.Sprint(n), "container": "can", "remaining_ml": 2000 + n})
		}
		if n := len(r.wire.on(can)); n > before+2 {
			t.Errorf("thirty requests in an instant published the state %d times", n-before-1)
		}
		time.Sleep(showEvery)
		states = r.wire.on(can)
		if !strings.Contains(states[len(states)-1], "2029") {
			t.Errorf("a second later the broker holds %s", states[len(states)-1])
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

func TestINV11AStopThatCannotBeReadStopsAllTheSame(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		stops := len(r.wire.on("pumps/1/stop"))
		r.b.Deliver(Message{Topic: "aliquot/shed/ask/stop", Payload: []byte("STOP")})
		synctest.Wait()
		if got := len(r.wire.on("pumps/1/stop")); got != stops+1 {
			t.Errorf("%d stops, want one more than %d", got, stops)
		}
		if got := r.wire.on("aliquot/shed/problem"); len(got) != 1 {
			t.Errorf("problems %v, want one", got)
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}

// An alert that ended while the broker was away must not stay on it.
func TestAClearedAlertIsRemovedAfterAReconnect(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := startRig(t, nil)
		r.connect()
		r.b.Deliver(Message{Topic: "pumps/online", Payload: []byte("0")})
		time.Sleep(5 * time.Minute)
		const topic = "aliquot/shed/alert/node-offline-board"
		if got := r.wire.on(topic); len(got) != 1 || got[0] == "" {
			t.Fatalf("alert topic got %q, want it raised", got)
		}
		r.wire.mu.Lock()
		r.wire.open = false
		r.wire.mu.Unlock()
		r.b.LinkDown()
		time.Sleep(time.Minute)
		r.connect()
		time.Sleep(time.Minute)
		if got := r.wire.on(topic); got[len(got)-1] != "" {
			t.Errorf("alert topic ends with %q, want it removed", got[len(got)-1])
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
	})
}
