package notify

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"aliquot/bridge/machine"

	"go.uber.org/goleak"
)

// fakeWay takes messages as a test says.
type fakeWay struct {
	deliver func(ctx context.Context, attempt int) error

	mu       sync.Mutex
	attempts int
	got      []string
}

func (f *fakeWay) Name() string { return "webhook" }

func (f *fakeWay) Deliver(ctx context.Context, payload []byte) error {
	f.mu.Lock()
	f.attempts++
	n := f.attempts
	f.mu.Unlock()
	if f.deliver != nil {
		if err := f.deliver(ctx, n); err != nil {
			return err
		}
	}
	var m Message
	if err := json.Unmarshal(payload, &m); err != nil {
		return err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.got = append(f.got, fmt.Sprintf("%s %s", m.Alert, m.State))
	return nil
}

func (f *fakeWay) seen() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return fmt.Sprint(f.got)
}

// tally is what the shell hears of the ways.
type tally struct {
	mu     sync.Mutex
	counts [3]int
	closed []string
}

func (l *tally) options(ways ...Way) Options {
	o := Options{Site: "shed", Logger: slog.New(slog.NewTextHandler(io.Discard, nil)),
		Count:  func(_ string, c Count) { l.mu.Lock(); defer l.mu.Unlock(); l.counts[c]++ },
		Closed: func(_, why string) { l.mu.Lock(); defer l.mu.Unlock(); l.closed = append(l.closed, why) }}
	for _, w := range ways {
		o.Routes = append(o.Routes, Route{w, machine.Warning})
	}
	return o
}

func (l *tally) get() ([3]int, []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.counts, slices.Clone(l.closed)
}

func closeIt(t *testing.T, n *Notifier) {
	t.Helper()
	for range 2 {
		if err := n.Close(); err != nil {
			t.Error(err)
		}
	}
	goleak.VerifyNone(t)
}

func TestEachWayIsToldOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var l tally
		a, b := &fakeWay{}, &fakeWay{}
		n := Start(l.options(a, b))
		n.Tell(alert("empty", machine.Critical, true))
		synctest.Wait()
		n.Tell(alert("empty", machine.Critical, true))
		n.Tell(alert("note", machine.Notice, true))
		n.Try("all is well")
		synctest.Wait()
		n.Tell(alert("empty", machine.Critical, false))
		synctest.Wait()
		want := "[empty raised test test empty cleared]"
		if a.seen() != want || b.seen() != want {
			t.Errorf("told %s and %s; want %s twice", a.seen(), b.seen(), want)
		}
		if counts, _ := l.get(); counts != [3]int{6, 0, 0} {
			t.Errorf("counted %v; want 6 attempts", counts)
		}
		_ = n.Close()
	})
}

// A way that is closed is tried again with growing pauses, and the machine hears of it.
func TestClosedWay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var l tally
		var at []time.Duration
		from := time.Now()
		const opens = 30 * time.Minute
		w := &fakeWay{deliver: func(context.Context, int) error {
			at = append(at, time.Since(from))
			if time.Since(from) < opens {
				return errors.New("closed")
			}
			return nil
		}}
		n := Start(l.options(w))
		n.Tell(alert("empty", machine.Critical, true))
		time.Sleep(closedAfter - time.Second)
		if _, closed := l.get(); len(closed) != 0 {
			t.Errorf("after %s it is said: %v", closedAfter-time.Second, closed)
		}
		time.Sleep(opens)
		synctest.Wait()
		want := []time.Duration{0, 5, 15, 35, 75, 155, 315, 615, 915, 1215, 1515, 1815}
		for i := range want {
			want[i] *= time.Second
		}
		if !slices.Equal(at, want) {
			t.Errorf("tried at %v; want %v", at, want)
		}
		counts, closed := l.get()
		if counts != [3]int{12, 11, 0} || fmt.Sprint(closed) != "[closed ]" {
			t.Errorf("counted %v, said %q; want 12 attempts, 11 failures, closed and open again", counts, closed)
		}
		_ = n.Close()
	})
}

// What happened meanwhile is told as it is at the end, not as it came.
func TestClosedWayMissesWhatIsOver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var l tally
		w := &fakeWay{deliver: func(_ context.Context, n int) error {
			if n <= 3 {
				return errors.New("closed")
			}
			return nil
		}}
		n := Start(l.options(w))
		for range 100 {
			n.Tell(alert("flaps", machine.Warning, true))
			synctest.Wait()
			n.Tell(alert("flaps", machine.Warning, false))
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if want := "[flaps cleared]"; w.seen() != want {
			t.Errorf("told %s; want %s", w.seen(), want)
		}
		_ = n.Close()
	})
}

// A way that hangs holds neither the loop nor another way, and ends when it is told to.
func TestAWayThatHangsHoldsNobody(t *testing.T) {
	var l tally
	entered := make(chan struct{})
	var once sync.Once
	hung := &fakeWay{deliver: func(ctx context.Context, _ int) error {
		once.Do(func() { close(entered) })
		<-ctx.Done()
		return ctx.Err()
	}}
	good := &fakeWay{}
	n := Start(l.options(hung, good))
	n.Tell(alert("first", machine.Critical, true))
	<-entered
	began := time.Now()
	for i := range 1000 {
		n.Tell(alert(fmt.Sprint("a", i), machine.Warning, true))
	}
	n.Tell(alert("last", machine.Critical, true))
	if took := time.Since(began); took > 2*time.Second {
		t.Errorf("1000 alerts took the caller %s", took)
	}
	deadline := time.Now().Add(10 * time.Second)
	for !slices.Contains(func() []string { good.mu.Lock(); defer good.mu.Unlock(); return slices.Clone(good.got) }(), "last raised") {
		if time.Now().After(deadline) {
			t.Fatal("the other way was not told the last alert")
		}
		time.Sleep(time.Millisecond)
	}
	closeIt(t, n)
}

func TestPause(t *testing.T) {
	for failures, want := range map[int]time.Duration{1: 5 * time.Second, 2: 10 * time.Second, 6: 160 * time.Second, 7: longestPause, 8: longestPause, 1_000_000: longestPause} {
		if got := pause(failures); got != want {
			t.Errorf("pause(%d) = %s; want %s", failures, got, want)
		}
	}
}
