package notify

import (
	"slices"
	"sync"
	"time"

	"aliquot/bridge/machine"
)

const (
	mostWaiting = 64
	// oldest is how long news is kept for a way that does not take it.
	oldest = 24 * time.Hour
)

// desk is where messages to one way wait. Whoever puts one down never waits for whoever takes them.
type desk struct {
	site, least string
	dropped     func()
	bell        chan struct{} // rings when something was put down

	mu      sync.Mutex
	told    map[string]machine.AlertView // as put down last
	waiting []waiting
	count   int
}

type waiting struct {
	number int // its own, so that a message that replaced it meanwhile is not taken for it
	Message
}

func newDesk(site, least string, dropped func()) *desk {
	return &desk{site: site, least: least, dropped: dropped, bell: make(chan struct{}, 1), told: map[string]machine.AlertView{}}
}

// tell puts an alert down if it is news.
func (d *desk) tell(a machine.AlertView, at time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	last, known := d.told[a.Name]
	state, worth := news(last, known, a, d.least)
	if worth || known {
		d.remember(a)
	}
	if worth {
		d.put(Message{V: 1, Site: d.site, Alert: a.Name, Level: a.Level, State: state, At: at.UTC(), Since: a.Since.UTC(), Text: a.Text, Reminders: a.Reminders})
	}
}

// remember forgets what is over, so that the memory is no larger than what is raised.
func (d *desk) remember(a machine.AlertView) {
	if a.Raised {
		d.told[a.Name] = a
		return
	}
	delete(d.told, a.Name)
}

// try puts a test message down.
func (d *desk) try(m Message) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.put(m)
}

// put lets a message take the place of an older one of the same alert, or the last place. If there is none left, the
// oldest of the least weight goes.
func (d *desk) put(m Message) {
	d.count++
	w := waiting{d.count, m}
	if i := slices.IndexFunc(d.waiting, func(o waiting) bool { return o.Alert == m.Alert }); i >= 0 {
		d.waiting[i] = w
	} else {
		d.waiting = append(d.waiting, w)
	}
	if len(d.waiting) > mostWaiting {
		least := 0
		for i := range d.waiting {
			if weight(d.waiting[i].Level) < weight(d.waiting[least].Level) {
				least = i
			}
		}
		d.waiting = slices.Delete(d.waiting, least, least+1)
		d.dropped()
	}
	select {
	case d.bell <- struct{}{}:
	default:
	}
}

// first gives the message that goes next: the heaviest, of these the oldest. What is too old to be of use is let go.
func (d *desk) first(now time.Time) (waiting, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.waiting = slices.DeleteFunc(d.waiting, func(w waiting) bool {
		old := now.Sub(w.At) > oldest
		if old {
			d.dropped()
		}
		return old
	})
	if len(d.waiting) == 0 {
		return waiting{}, false
	}
	best := d.waiting[0]
	for _, w := range d.waiting[1:] {
		if weight(w.Level) > weight(best.Level) {
			best = w
		}
	}
	return best, true
}

// done takes a message off the desk, unless newer news has taken its place.
func (d *desk) done(number int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.waiting = slices.DeleteFunc(d.waiting, func(w waiting) bool { return w.number == number })
}

func (d *desk) left() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.waiting)
}
