package screen

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; got\n%s\nwant\n%s", path, got, want)
	}
}

// fits holds that no line is wider than asked for, and that none ends in blanks or holds a control character.
func fits(t *testing.T, text string, width int) {
	t.Helper()
	for i, line := range strings.Split(text, "\n") {
		if n := utf8.RuneCountInString(line); n > width {
			t.Errorf("line %d has %d columns of %d: %s", i+1, n, width, line)
		}
		if strings.TrimRight(line, " ") != line || strings.ContainsFunc(line, func(r rune) bool { return r < ' ' }) {
			t.Errorf("line %d ends in blanks or holds a control character: %q", i+1, line)
		}
	}
}

func TestSiteGolden(t *testing.T) {
	for _, c := range []struct {
		name  string
		seen  Seen
		width int
	}{
		{"good-80.txt", good(), 80}, {"good-120.txt", good(), 120}, {"wrong-80.txt", wrong(), 80}, {"wrong-120.txt", wrong(), 120}, {"empty-80.txt", empty(), 80}, {"empty-120.txt", empty(), 120},
	} {
		got := Site(c.seen, c.width, time.UTC)
		fits(t, got, c.width)
		golden(t, c.name, got)
	}
}

// An ordinary site fits into a terminal of 40 lines.
func TestSiteIsOneScreen(t *testing.T) {
	if n := strings.Count(Site(good(), 80, time.UTC), "\n"); n > 40 {
		t.Errorf("%d lines", n)
	}
}

func TestSiteSaysWhatItCannotKnow(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Seen)
		want   string
		live   bool
	}{
		{"online", func(*Seen) {}, "The service is online, version 1.2.0. Planned at 09:07.", true},
		{"online, no sign of life known", func(s *Seen) { s.Sign = time.Time{} }, "The service is online", true},
		{"sign of life just young enough", func(s *Seen) { s.Sign = now.Add(-Quiet) }, "The service is online", true},
		{"sign of life too old", func(s *Seen) { s.Sign = now.Add(-Quiet - time.Second) }, "THE SERVICE IS SILENT, though the broker calls it online: what follows may be old. Its last sign of life is of 09:11, 3 min ago.", false},
		{"offline", func(s *Seen) { s.Service, s.Sign = Offline, now.Add(-50*time.Hour) }, "THE SERVICE IS OFFLINE: nothing is dosed, and what follows is old. Its last sign of life is of Sun 28 Feb 07:14, 2 days ago.", false},
		{"offline, nothing known", func(s *Seen) { s.Service, s.Sign = Offline, time.Time{} }, "what follows is old. Start it with aliquot run", false},
		{"never heard", func(s *Seen) { s.Service = Unheard }, "NO SERVICE HAS SPOKEN HERE YET.", false},
		{"broker gone", func(s *Seen) { s.Link = "connection refused" }, "THE BROKER IS NOT THERE: connection refused. What follows is old.", false},
	} {
		s := good()
		c.change(&s)
		got := strings.Join(strings.Fields(Site(s, 80, time.UTC)), " ")
		if !strings.Contains(got, c.want) || s.Live() != c.live {
			t.Errorf("%s: live %v, want %v and %q in\n%s", c.name, s.Live(), c.live, c.want, got)
		}
	}
}

func TestSiteSaysWhatIsPending(t *testing.T) {
	for _, c := range []struct {
		name           string
		pending, hours *float64
		want           string
	}{
		{"unknown", nil, nil, ""},
		{"nothing", ptr(0.0), ptr(0.0), ""},
		{"next to nothing", ptr(0.0099), ptr(8.0), ""},
		{"enough to speak of", ptr(0.01), ptr(8.0), "0.010 dKH was dosed and is still to appear, most of it within 16 h; the plan counts on it"},
		{"much", ptr(0.42), ptr(7.9), "0.42 dKH was dosed and is still to appear, most of it within 16 h; the plan counts on it"},
		{"of no known time", ptr(0.42), nil, "0.42 dKH was dosed and is still to appear; the plan counts on it"},
		{"still to disappear", ptr(-0.42), ptr(8.0), "-0.42 dKH was dosed and is still to appear"},
	} {
		s := good()
		s.View.Quantities[0].Pending, s.View.Quantities[0].PendingHours = c.pending, c.hours
		got := strings.Join(strings.Fields(Site(s, 80, time.UTC)), " ")
		if says := strings.Contains(got, "still to appear"); says != (c.want != "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: want %q in\n%s", c.name, c.want, got)
		}
	}
}

// Whatever the names and figures are, no line is wider than the terminal.
func TestSiteFitsAnyTerminal(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := wrong()
		name := rapid.StringMatching(`[A-Za-z0-9_-]{1,48}`)
		v := &s.View
		v.Site = name.Draw(r, "site")
		for i := range v.Channels {
			v.Channels[i].ID = name.Draw(r, "channel")
			v.Channels[i].Window24hHiML = rapid.Float64Range(0, 1e6).Draw(r, "given")
		}
		for i := range v.Containers {
			v.Containers[i].ID = name.Draw(r, "container")
		}
		for i := range v.Alerts {
			v.Alerts[i].Text = rapid.StringMatching(`([a-z]{1,90} ){0,6}`).Draw(r, "text")
		}
		v.Probes[0].ID = name.Draw(r, "probe")
		width := rapid.IntRange(20, 200).Draw(r, "width")
		most := min(max(width, Narrowest), Widest)
		for i, line := range strings.Split(Site(s, width, time.UTC), "\n") {
			if n := utf8.RuneCountInString(line); n > most {
				r.Fatalf("line %d has %d columns of %d: %s", i+1, n, most, line)
			}
		}
	})
}

// Every code for which a run is withheld has a way out, or ends by itself.
func TestEveryCodeHasAWayOut(t *testing.T) {
	byItself := map[safety.Code]bool{safety.ChannelBusy: true, safety.RestTime: true, safety.KeptApart: true, safety.BelowSmallestRun: true, safety.BadVolume: true, safety.AboveBand: true,
		safety.Treatment: true, safety.SlotMissed: true, safety.SlotServed: true, safety.Stopping: true, safety.CourseNotBegun: true, safety.CourseOver: true}
	withheld := []safety.Code{safety.NotCalibrated, safety.NotPrimed, safety.ContainerEmpty, safety.ContainerMismatch, safety.NodeOffline, safety.Fault, safety.NoProof, safety.OutOfService, safety.OnHold,
		safety.InterlockActive, safety.ClockUntrusted, safety.SecondOwner, safety.LinkDown, safety.LedgerFault, safety.RetainedCommand, safety.NotAccepted, safety.ChannelBusy, safety.RestTime, safety.KeptApart,
		safety.DayCap, safety.QuantityCap, safety.RunCap, safety.RunTimeCap, safety.BelowSmallestRun, safety.BadVolume, safety.NoTest, safety.StaleTest, safety.AboveBand, safety.Treatment, safety.SlotMissed,
		safety.SlotServed, safety.TooManyRestarts, safety.LedgerRestored, safety.Stopping, safety.CourseNotBegun, safety.CourseOver, safety.SupplyCut, safety.SupplyOff}
	for _, code := range withheld {
		way := WayOut(code, Subject{Channel: "alk", System: "nursery", Container: "jug", Node: "board", Supply: "feed", Quantity: "alkalinity"})
		if (way == "") != byItself[code] {
			t.Errorf("%s: way out %q, ends by itself %v", code, way, byItself[code])
		}
		if strings.Contains(way, "  ") || strings.Contains(way, "%!") {
			t.Errorf("%s: %q", code, way)
		}
	}
}

func TestAlertWayOut(t *testing.T) {
	v := wrong().View
	two := v
	two.Systems = append([]machine.SystemView{}, v.Systems...)
	two.Systems = append(two.Systems, machine.SystemView{ID: "annex"})
	for _, c := range []struct {
		name string
		view machine.SiteView
		want string
	}{
		{"lockout-alk-fault", v, "aliquot clear alk fault"},
		{"lockout-all-too_many_restarts", v, "aliquot clear all too_many_restarts"},
		{"lockout-nursery-out_of_service", v, "aliquot clear system:nursery out_of_service"},
		{"lockout-stranger-fault", v, ""},
		{"container-low-jug", v, "aliquot refill jug"},
		{"test-due-nursery-calcium", v, "aliquot enter calcium VALUE mg/L"},
		{"test-due-nursery-calcium", two, "aliquot enter calcium VALUE mg/L --system nursery"},
		{"clock", v, "aliquot ask clock"}, {"ledger", v, "disk"}, {"second-owner", v, "other instance"}, {"elsewhere", v, ""},
	} {
		got := alertWayOut(c.name, c.view)
		if (c.want == "") != (got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestWords(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 0.0234: "0.023", 0.1: "0.10", 8.312: "8.31", 19.99: "19.99", 20: "20.0", 99.94: "99.9", 100: "100", 1321.4: "1321", -0.02: "-0.020"} {
		if got := number(v); got != want {
			t.Errorf("number(%g) = %s, want %s", v, got, want)
		}
	}
	for d, want := range map[time.Duration]string{-time.Second: "0 s", 119 * time.Second: "119 s", 2 * time.Minute: "2 min", 2 * time.Hour: "2 h", 47 * time.Hour: "47 h", 48 * time.Hour: "2 days"} {
		if got := span(d); got != want {
			t.Errorf("span(%s) = %s, want %s", d, got, want)
		}
	}
	for _, c := range []struct {
		share, mark float64
		want        string
	}{{0, 0, "[....]"}, {0.5, 0, "[##..]"}, {1.5, 1, "[###|]"}, {0.25, 0.5, "[#.|.]"}, {-1, 2, "[....]"}} {
		if got := bar(c.share, c.mark, 4); got != c.want {
			t.Errorf("bar(%g, %g) = %s, want %s", c.share, c.mark, got, c.want)
		}
	}
	if got := fmt.Sprint(wrap("one two three "+strings.Repeat("x", 40), 20)); got != "[one two three xxxxxxxxxxxxxxxxxxxx xxxxxxxxxxxxxxxxxxxx]" {
		t.Error(got)
	}
}

func TestFit(t *testing.T) {
	page := "one\ntwo\nthree\nfour\n"
	for lines, want := range map[int]string{0: page, 4: page, 9: page, 3: "one\ntwo\n… 2 more lines: a taller window, or aliquot status\n", 1: "one\n… 3 more lines: a taller window, or aliquot status\n"} {
		if got := Fit(page, lines); got != want {
			t.Errorf("Fit to %d lines: %q", lines, got)
		}
	}
	if got := Wrap("  short stays\none two three four", 16); got != "  short stays\none two three\nfour" {
		t.Errorf("Wrap: %q", got)
	}
}

// What concerns every channel is said once, with names that lead somewhere: a command with "all" that there is not would send
// a keeper the wrong way.
func TestWhatKeepsEveryChannelStill(t *testing.T) {
	s := wrong()
	for i := range s.View.Channels {
		c := &s.View.Channels[i]
		c.Supply, c.Node = "feed", []string{"board", "plug"}[i%2]
		c.Withheld = []machine.BlockView{{Code: safety.NotCalibrated, Text: "not calibrated"}, {Code: safety.SupplyCut, Text: "somebody opened it"}, {Code: safety.NodeOffline, Text: "not online"}}
	}
	out := Site(s, 200, time.UTC)
	_, part, _ := strings.Cut(out, "NOTHING RUNS")
	part, _, _ = strings.Cut(part, "\n\n")
	for _, want := range []string{"aliquot calibrate CHANNEL", "aliquot clear supply:feed", "look at node NODE"} {
		if !strings.Contains(part, want) {
			t.Errorf("%q is not said: %s", want, part)
		}
	}
	if strings.Contains(part, " all ") {
		t.Errorf("a way out for all: %s", part)
	}
}
