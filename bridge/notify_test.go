package bridge

import (
	"errors"
	"sync"
	"testing"
	"testing/synctest"

	"aliquot/bridge/machine"
)

// teller is a notifier that writes down.
type teller struct {
	mu    sync.Mutex
	names []string
	tests int
}

func (l *teller) Tell(a machine.AlertView) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if a.Raised {
		l.names = append(l.names, a.Name)
	}
}

func (l *teller) Try(string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.tests++
}

func (l *teller) has(name string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, n := range l.names {
		if n == name {
			return true
		}
	}
	return false
}

// Ways beside the broker are told without one, and a closed way becomes an alert; but nothing is told that was not
// written down (INV-13).
func TestH41AlertsAreToldBesideTheBroker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &teller{}
		r := startRig(t, func(o *Options) { o.Notifier = l })
		r.b.AlertWay("webhook", "closed")
		synctest.Wait()
		if !l.has("alert-way-webhook") {
			t.Error("a closed way is no alert, or is not told without a broker")
		}
		r.book.mu.Lock()
		r.book.broke = errors.New("no space")
		r.book.mu.Unlock()
		r.b.AlertWay("command", "closed")
		synctest.Wait()
		if l.has("alert-way-command") {
			t.Error("an alert was told that could not be written down")
		}
		if !l.has("ledger") {
			t.Error("the broken ledger was not told")
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
		if r.b.tell(machine.TryAlerts{Text: "test"}); l.tests != 1 {
			t.Errorf("%d test messages; want 1", l.tests)
		}
	})
}
