package notify

import (
	"fmt"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

var noon = time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)

func alert(name, level string, raised bool) machine.AlertView {
	return machine.AlertView{Name: name, Level: level, Raised: raised, Since: noon, Text: name}
}

func with(a machine.AlertView, change func(*machine.AlertView)) machine.AlertView {
	change(&a)
	return a
}

func TestNews(t *testing.T) {
	raised, over := alert("a", machine.Warning, true), alert("a", machine.Warning, false)
	acknowledged := with(raised, func(a *machine.AlertView) { a.Acknowledged = true })
	again := with(raised, func(a *machine.AlertView) { a.Reminders = 1 })
	note, critical := alert("a", machine.Notice, true), alert("a", machine.Critical, true)
	for _, c := range []struct {
		name  string
		last  *machine.AlertView
		now   machine.AlertView
		least string
		want  State // empty: no news
	}{
		{"raised", nil, raised, machine.Warning, Raised},
		{"raised after it was over", &over, raised, machine.Warning, Raised},
		{"raised below the least level", nil, note, machine.Warning, ""},
		{"raised at the least level", nil, note, machine.Notice, Raised},
		{"of an unknown level", nil, alert("a", "odd", true), machine.Critical, Raised},
		{"the same once more", &raised, raised, machine.Warning, ""},
		{"a reminder", &raised, again, machine.Warning, Standing},
		{"the same reminder once more", &again, again, machine.Warning, ""},
		{"acknowledged", &raised, acknowledged, machine.Warning, ""},
		{"acknowledged before it was told", nil, acknowledged, machine.Warning, ""},
		{"the silence is over", &acknowledged, raised, machine.Warning, Standing},
		{"it becomes worse", &raised, critical, machine.Warning, Raised},
		{"it falls below what is told", &raised, note, machine.Warning, Raised},
		{"over", &raised, over, machine.Warning, Cleared},
		{"over, acknowledged", &acknowledged, over, machine.Warning, Cleared},
		{"over and never told", nil, over, machine.Warning, ""},
		{"over twice", &over, over, machine.Warning, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			var last machine.AlertView
			if c.last != nil {
				last = *c.last
			}
			state, worth := news(last, c.last != nil, c.now, c.least)
			if worth != (c.want != "") || (worth && state != c.want) {
				t.Errorf("news = %q, %v; want %q", state, worth, c.want)
			}
		})
	}
}

// What waits is the newest news of each alert, the heaviest first.
func TestDeskKeepsTheNewest(t *testing.T) {
	d := newDesk("shed", machine.Notice, func() { t.Error("something was dropped") })
	d.tell(alert("a", machine.Notice, true), noon)
	d.tell(alert("b", machine.Warning, true), noon)
	d.tell(alert("c", machine.Critical, true), noon)
	d.tell(alert("b", machine.Warning, false), noon)
	first, _ := d.first(noon)
	d.tell(alert("c", machine.Critical, false), noon) // while the raise of c is under way
	d.done(first.number)
	var got string
	for {
		w, ok := d.first(noon)
		if !ok {
			break
		}
		got += fmt.Sprintf("%s %s, ", w.Alert, w.State)
		d.done(w.number)
	}
	if want := "c cleared, b cleared, a raised, "; first.Alert != "c" || got != want {
		t.Errorf("%s went first, then %s; want c, then %s", first.Alert, got, want)
	}
}

func TestDeskIsBounded(t *testing.T) {
	dropped := 0
	d := newDesk("shed", machine.Notice, func() { dropped++ })
	d.tell(alert("critical", machine.Critical, true), noon)
	for i := range 3 * mostWaiting {
		d.tell(alert(fmt.Sprint("note-", i), machine.Notice, true), noon)
	}
	if len(d.waiting) != mostWaiting || dropped != 2*mostWaiting+1 {
		t.Errorf("%d wait and %d were dropped; want %d and %d", len(d.waiting), dropped, mostWaiting, 2*mostWaiting+1)
	}
	if w, ok := d.first(noon); !ok || w.Alert != "critical" {
		t.Errorf("first = %v, %v; want the critical one to have its place", w, ok)
	}
	if last := d.waiting[mostWaiting-1].Alert; last != fmt.Sprint("note-", 3*mostWaiting-1) {
		t.Errorf("the last that waits is %s; want the newest", last)
	}
}

func TestDeskLetsOldNewsGo(t *testing.T) {
	dropped := 0
	d := newDesk("shed", machine.Notice, func() { dropped++ })
	d.tell(alert("a", machine.Warning, true), noon)
	if _, ok := d.first(noon.Add(oldest)); !ok || dropped != 0 {
		t.Errorf("news of exactly %s is gone", oldest)
	}
	if _, ok := d.first(noon.Add(oldest + time.Second)); ok || dropped != 1 {
		t.Errorf("news older than %s still waits, %d dropped", oldest, dropped)
	}
}

// An alert that comes and goes for ever leaves nothing behind.
func TestDeskForgetsWhatIsOver(t *testing.T) {
	d := newDesk("shed", machine.Notice, func() {})
	for i := range 1000 {
		d.tell(alert(fmt.Sprint(i), machine.Warning, true), noon)
		d.tell(alert(fmt.Sprint(i), machine.Warning, false), noon)
	}
	if len(d.told) != 0 {
		t.Errorf("%d alerts are remembered; want none", len(d.told))
	}
}
