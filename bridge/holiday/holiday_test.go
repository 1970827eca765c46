package holiday

import (
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"

	"pgregory.net/rapid"
)

var (
	now   = time.Date(2027, 7, 1, 12, 0, 0, 0, time.UTC)
	leave = now.Add(24 * time.Hour)
	home  = leave.Add(14 * 24 * time.Hour)
)

func on(at time.Time) *time.Time { return &at }

func jug() machine.ContainerAhead {
	return machine.ContainerAhead{ID: "jug", Supplement: "carbonate", Cautions: []string{"it burns"}, Known: true, CapacityML: 1000, StopML: 50, LeastML: 1000, MostML: 1000,
		PlanPerDayML: 20, HighPerDayML: 30, CapPerDayML: 60}
}

func with(change func(*machine.ContainerAhead)) Holiday {
	k := jug()
	change(&k)
	return Plan("lagoon", machine.Outlook{At: now, Containers: []machine.ContainerAhead{k}}, leave, home, time.UTC)
}

func has(lines []string, part string) bool {
	return slices.ContainsFunc(lines, func(l string) bool { return strings.Contains(l, part) })
}

// 14 days and two of reserve at 30 mL are 480 mL, and 30 mL more are gone before leaving; 50 mL stay inside.
func TestWhatIsFilledBeforeLeaving(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*machine.ContainerAhead)
		before string
		helper int
	}{
		{"enough to the mL", func(k *machine.ContainerAhead) { k.LeastML, k.MostML = 560, 560 }, "", 0},
		{"just too little", func(k *machine.ContainerAhead) { k.LeastML, k.MostML = 559, 559 }, "fill about 10 mL into container jug", 0},
		{"by the least that it can hold", func(k *machine.ContainerAhead) { k.LeastML, k.MostML = 300, 700 }, "fill about 260 mL", 0},
		{"never above its capacity", func(k *machine.ContainerAhead) { k.LeastML, k.MostML = 300, 900 }, "fill about 120 mL", 1},
		{"not known", func(k *machine.ContainerAhead) { k.Known = false }, "say what container jug holds", 0},
		{"nothing is taken", func(k *machine.ContainerAhead) { k.PlanPerDayML, k.HighPerDayML, k.LeastML = 0, 0, 0 }, "", 0},
		{"too small for a helper", func(k *machine.ContainerAhead) { k.CapacityML, k.LeastML, k.MostML = 100, 100, 100 }, "is too small for this holiday", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := with(c.change)
			if c.before == "" && (has(h.Before, "container jug") || len(h.Refills) > 0) {
				t.Errorf("before leaving %q, refills %v; want nothing of the container", h.Before, h.Refills)
			}
			if !has(h.Before, c.before) || len(h.Refills) != c.helper {
				t.Errorf("before leaving %q, refills %v; want %q and %d refills", h.Before, h.Refills, c.before, c.helper)
			}
		})
	}
}

// Whoever follows the list keeps a container above its stop, if as much is used as may be, and below its rim, if the plan is.
func TestRefillsKeepAboveTheStopAndBelowTheRim(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		capacity := rapid.Float64Range(200, 5000).Draw(t, "capacity")
		least := rapid.Float64Range(50, capacity).Draw(t, "least")
		k := jug()
		k.CapacityML, k.LeastML = capacity, least
		k.MostML = rapid.Float64Range(least, capacity).Draw(t, "most")
		k.PlanPerDayML = rapid.Float64Range(.1, 60).Draw(t, "plan")
		k.HighPerDayML = k.PlanPerDayML * rapid.Float64Range(1, 2).Draw(t, "factor")
		until := leave.Add(time.Duration(rapid.IntRange(1, 100).Draw(t, "days")) * 24 * time.Hour)
		var h Holiday
		h.From, h.Until, h.Outlook.At, h.zone = leave, until, leave, time.UTC
		h.container(k)
		if has(h.Before, "too small") {
			return
		}
		low, high, at := k.LeastML, k.MostML, leave
		if has(h.Before, "fill about") {
			fill := min(k.CapacityML-high, up(k.StopML+k.HighPerDayML*(days(until.Sub(leave))+reserveDays)-low))
			low, high = low+fill-1, high+fill-1 // the list says whole mL
		}
		for _, r := range h.Refills {
			d := days(r.By.Sub(at))
			low, high, at = low-d*k.HighPerDayML, max(0, high-d*k.PlanPerDayML), r.By
			if high+r.ML > k.CapacityML+1 {
				t.Fatalf("at %s the container holds %g of %g mL", r.By, high+r.ML, k.CapacityML)
			}
			low, high = low+r.ML, high+r.ML
		}
		low -= days(until.Sub(at)) * k.HighPerDayML
		if low < k.StopML-2-float64(len(h.Refills)) {
			t.Fatalf("on coming home it holds %g mL, below its stop of %g; refills %v", low, k.StopML, h.Refills)
		}
	})
}

func TestWhatFallsIntoTheHoliday(t *testing.T) {
	for _, c := range []struct {
		name           string
		at             time.Time
		before, during bool
	}{
		{"over already", now.Add(-time.Hour), true, false},
		{"before leaving", leave.Add(-time.Nanosecond), true, false},
		{"on leaving", leave, true, true},
		{"last moment", home.Add(-time.Nanosecond), true, true},
		{"on coming home", home, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := machine.Outlook{At: now, Channels: []machine.ChannelAhead{{ID: "alk", CalibrationOld: on(c.at), TubingWorn: on(c.at)}}, Proofs: []machine.ProofAhead{{Node: "plug", Expires: on(c.at)}}}
			h := Plan("lagoon", o, leave, home, time.UTC)
			for _, part := range []string{"calibrate channel alk", "change the pump tubing of channel alk", "aliquot prove plug"} {
				if has(h.Before, part) != c.before {
					t.Errorf("%q before leaving: %q; want %v", part, h.Before, c.before)
				}
			}
			if (len(h.During) == 3) != c.during || (len(h.During) == 0) == c.during {
				t.Errorf("during: %v; want %v", h.During, c.during)
			}
		})
	}
	h := Plan("lagoon", machine.Outlook{At: now, Proofs: []machine.ProofAhead{{Node: "plug"}}, Channels: []machine.ChannelAhead{{ID: "mg", Blocked: []machine.WithheldView{{Channel: "mg", Code: "not_primed", Text: "prime it"}}}}}, leave, home, time.UTC)
	if !has(h.Before, "node plug has no proof") || !has(h.Before, "channel mg does not run now (not_primed): prime it") {
		t.Errorf("before leaving: %q", h.Before)
	}
}

func TestWithoutTests(t *testing.T) {
	day := 24 * time.Hour
	for _, c := range []struct {
		name  string
		stale time.Duration
		last  *time.Time
		want  string
	}{
		{"a test on leaving holds for the whole holiday", 14 * day, on(now.Add(-10 * day)), "a test on the day of leaving holds for the whole holiday"},
		{"one on leaving does not", 14*day - 1, on(now), "Have the helper test once"},
		{"twice too old", 5 * day, on(now), "its volume does not rise any more"},
		{"fresh throughout", 30 * day, on(now), "the last test holds for the whole holiday"},
		{"never too old", 0, on(now), "nothing here says when a test is too old"},
	} {
		t.Run(c.name, func(t *testing.T) {
			q := machine.QuantityAhead{System: "reef", Quantity: "alkalinity", Followed: []string{"alk"}, LastTest: c.last, StaleAfter: c.stale}
			if c.stale > 0 {
				q.Stale, q.Ancient = on(c.last.Add(c.stale)), on(c.last.Add(2*c.stale))
			}
			h := Plan("lagoon", machine.Outlook{At: now, Quantities: []machine.QuantityAhead{q}}, leave, home, time.UTC)
			if len(h.Without) != 1 || !strings.Contains(h.Without[0], c.want) {
				t.Errorf("without tests: %q; want %q", h.Without, c.want)
			}
		})
	}
	h := Plan("lagoon", machine.Outlook{At: now, Quantities: []machine.QuantityAhead{{System: "reef", Quantity: "calcium", Followed: []string{"ca"}}}}, leave, home, time.UTC)
	if !has(h.Before, "it was never tested, and channel ca gives nothing until then") {
		t.Errorf("never tested: %q", h.Before)
	}
}

func TestSheetAndText(t *testing.T) {
	h := with(func(k *machine.ContainerAhead) { k.Supplement, k.LeastML, k.MostML = "<carbonate>", 300, 900 })
	var page, text strings.Builder
	if err := errors.Join(h.Sheet(&page), h.Text(&text)); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Stop everything", "Whom to call", "&lt;carbonate&gt;", "it burns", "At the latest on", "Call at or below"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	for d := xml.NewDecoder(strings.NewReader(page.String())); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{"Fri 2 Jul 2027 to Fri 16 Jul 2027", "20.0 to 30.0", "Before leaving:", "it is no forecast"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("the text does not say %q:\n%s", want, text.String())
		}
	}
}

func TestACautionIsSaidOnce(t *testing.T) {
	var s sheet
	s.careful("a", "it burns")
	s.careful("b", "it burns")
	s.careful("b", "keep it dark")
	if want := []caution{{"a, b", "it burns"}, {"b", "keep it dark"}}; !slices.Equal(s.Cautions, want) {
		t.Errorf("%v; want %v", s.Cautions, want)
	}
}
