package main

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/bridge/rehearse"
)

// rehearsal runs a few days of a shipped site.
func rehearsal(site string, more ...string) []string {
	return append([]string{"rehearse", "-c", filepath.Join("..", "..", "deploy", "sites", site)}, more...)
}

// troubled is a short scenario with one of everything.
var troubled = []string{"--days", "6", "--use", "alkalinity=0.9 dKH/day", "--start", "alkalinity=7.6 dKH", "--miss-tests", "0.2", "--holiday", "1d@day3",
	"--wrong-test", "5dKH@day5", "--pump-drift", "alk=-10 %", "--outage", "pumps@day4+6h", "--outage", "broker@day6+30min", "--water-change", "10 %/3d"}

// TestRehearseGolden rehearses a few days with trouble, in both formats, and again with the same bytes.
func TestRehearseGolden(t *testing.T) {
	t.Parallel()
	for format, file := range map[string]string{"text": "rehearse.txt", "json": "rehearse.json"} {
		args := rehearsal("demo.yaml", append(append([]string{}, troubled...), "--format", format)...)
		first := must(t, args...)
		golden(t, filepath.Join("rehearse", file), first)
		if again := must(t, args...); again != first {
			t.Errorf("the same rehearsal again reads differently:\n%s\n%s", first, again)
		}
	}
}

// TestRehearseSites lives through a day with every site that is shipped.
func TestRehearseSites(t *testing.T) {
	t.Parallel()
	for _, site := range []string{"demo.yaml", "pi.yaml", "two-systems.yaml"} {
		t.Run(site, func(t *testing.T) {
			t.Parallel()
			var r rehearse.Result
			if err := json.Unmarshal([]byte(must(t, rehearsal(site, "--days", "2", "--format", "json")...)), &r); err != nil {
				t.Fatal(err)
			}
			if r.Commissioned == nil || len(r.Exceeded) > 0 {
				t.Errorf("ready %v, exceeded %v, remarks %+v", r.Commissioned, r.Exceeded, r.Happened)
			}
			for _, c := range r.Channels {
				if c.OddRuns > 0 {
					t.Errorf("%d runs of %s ended oddly", c.OddRuns, c.Channel)
				}
			}
		})
	}
}

// TestRehearseHistory writes a history that plan, import and the replay read.
func TestRehearseHistory(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	history, page, other := filepath.Join(folder, "h.jsonl"), filepath.Join(folder, "r.html"), filepath.Join(folder, "p.html")
	must(t, rehearsal("demo.yaml", "--days", "3", "--history-out", history, "--report", page)...)
	var plan machine.PlanView
	if err := json.Unmarshal([]byte(must(t, "plan", "-c", filepath.Join("..", "..", "deploy", "sites", "demo.yaml"), "--history", history, "--at", "2027-03-04T07:10:00Z", "--format", "json")), &plan); err != nil {
		t.Fatal(err)
	}
	if len(plan.Runs) < 20 {
		t.Errorf("the plan from the rehearsed history has %d runs; want a day of them: %+v", len(plan.Runs), plan.Withheld)
	}
	var r rehearse.Replayed
	if err := json.Unmarshal([]byte(must(t, rehearsal("demo.yaml", "--history", history, "--format", "json", "--report", other)...)), &r); err != nil {
		t.Fatal(err)
	}
	if len(r.Tests) < 3 || r.Quantities[0].Tests == 0 {
		t.Errorf("the replay holds %d tests", len(r.Tests))
	}
	for _, file := range []string{page, other} {
		wellFormed(t, file)
	}
}

func wellFormed(t *testing.T, file string) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	d, drawings := xml.NewDecoder(f), 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("%s is not well-formed: %v", filepath.Base(file), err)
		}
		if e, ok := token.(xml.StartElement); ok && e.Name.Local == "svg" {
			drawings++
		}
	}
	if drawings < 6 {
		t.Errorf("%s has %d drawings", filepath.Base(file), drawings)
	}
}

// TestReplayGolden replays the invented history of the demo site.
func TestReplayGolden(t *testing.T) {
	t.Parallel()
	out := must(t, rehearsal("demo.yaml", "--history", filepath.Join("testdata", "plan", "history.jsonl"))...)
	golden(t, filepath.Join("rehearse", "replay.txt"), out)
	for _, want := range []string{"held, refuted", "not yet", "80.00 dKH", "implausible"} {
		if !contains(out, want) {
			t.Errorf("the replay does not say %q", want)
		}
	}
}

// TestRehearseFlags holds what the flags say when they are not understood.
func TestRehearseFlags(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		site string
		args []string
		want string
	}{
		{"demo.yaml", []string{"--days", "0"}, "not within 1 to 366"},
		{"demo.yaml", []string{"--days", "367"}, "not within 1 to 366"},
		{"demo.yaml", []string{"--from", "monday"}, "RFC 3339"},
		{"demo.yaml", []string{"--miss-tests", "1.1"}, "a chance is 0 to 1"},
		{"demo.yaml", []string{"--miss-tests", "NaN"}, "a chance is 0 to 1"},
		{"demo.yaml", []string{"--use", "alkalinity"}, "how much"},
		{"demo.yaml", []string{"--use", "alkalinity=1.2 dKH"}, "/day"},
		{"demo.yaml", []string{"--use", "alkalinity=21 dKH/day"}, "no tank uses more"},
		{"demo.yaml", []string{"--use", "calcium=10 mg/L/day"}, "say the use of alkalinity"},
		{"demo.yaml", []string{"--use", "iodine=1 mg/L/day"}, "there are: alkalinity, calcium, magnesium"},
		{"pi.yaml", []string{"--use", "nitrate=1 mg/L/day"}, "no constant use"},
		{"two-systems.yaml", []string{"--use", "pond/alkalinity=1 dKH/day"}, "there are: display/alkalinity"},
		{"demo.yaml", []string{"--start", "alkalinity=7.6"}, "unit"},
		{"demo.yaml", []string{"--start", "alkalinity=0 dKH"}, "without any alkalinity"},
		{"demo.yaml", []string{"--start", "7.6 dKH"}, "which level"},
		{"demo.yaml", []string{"--holiday", "10d"}, "when"},
		{"demo.yaml", []string{"--holiday", "10d@monday"}, `"monday" is no day`},
		{"demo.yaml", []string{"--holiday", "10d@day31"}, "not within the 30 days"},
		{"demo.yaml", []string{"--holiday", "10d@day0"}, "not within the 30 days"},
		{"demo.yaml", []string{"--holiday", "ten@day3"}, "10d@day12"},
		{"demo.yaml", []string{"--wrong-test", "2@day8"}, "unit"},
		{"demo.yaml", []string{"--wrong-test", "iron=2dKH@day8"}, "no target"},
		{"demo.yaml", []string{"--pump-drift", "alk"}, "by how much"},
		{"demo.yaml", []string{"--pump-drift", "kalk=-10%"}, "there are: alk, ca, mg, potassium"},
		{"demo.yaml", []string{"--pump-drift", "alk=-10"}, "-90 % to 200 %"},
		{"demo.yaml", []string{"--pump-drift", "alk=-91%"}, "-90 % to 200 %"},
		{"demo.yaml", []string{"--pump-drift", "alk=NaN%"}, "-90 % to 200 %"},
		{"demo.yaml", []string{"--outage", "pumps@day5"}, "for how long"},
		{"demo.yaml", []string{"--outage", "pump@day5+6h"}, "there are: pumps, relay, and broker"},
		{"demo.yaml", []string{"--outage", "pumps@day5+six"}, "no duration"},
		{"demo.yaml", []string{"--water-change", "10%"}, "how often"},
		{"demo.yaml", []string{"--water-change", "0%/7d"}, "above 0 %"},
		{"demo.yaml", []string{"--water-change", "10%/1h"}, "a day or longer"},
		{"demo.yaml", []string{"--history", filepath.Join("testdata", "plan", "history.jsonl"), "--holiday", "10d@day12"}, "--holiday is for a simulated time"},
		{"demo.yaml", []string{"--history", filepath.Join("testdata", "plan", "history.jsonl"), "--history-out", "x"}, "--history-out is for a simulated time"},
	} {
		t.Run(strings.Join(c.args, " "), func(t *testing.T) {
			t.Parallel()
			got := command(t, rehearsal(c.site, c.args...)...)
			if got.code != exitUsage || !contains(got.err, c.want) || got.out != "" {
				t.Errorf("must end with code %d and say %q: %s", exitUsage, c.want, got)
			}
		})
	}
}

// TestRehearseFlagsRead holds what the flags mean.
func TestRehearseFlagsRead(t *testing.T) {
	t.Parallel()
	l, err := load(filepath.Join("..", "..", "deploy", "sites", "demo.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	r := rehearseCommand{Days: 20, Seed: 3, scene: scene{Use: []string{"alkalinity=1.2 dKH/day"}, Start: []string{"calcium=400 mg/L"}, MissTests: 1,
		Holiday: []string{"2d@day12"}, WrongTest: []string{"calcium=-40mg/L@day8"}, PumpDrift: []string{"ca=+5%"}, Outage: []string{"broker@day5+6h"}, WaterChange: "15 %/2w"}}
	o, err := r.options(l)
	if err != nil {
		t.Fatal(err)
	}
	s := o.Scenario
	if o.Waters[0].Uptake.PerDay != 1.2 || o.Waters[0].Start["calcium"] != 400 || o.Waters[0].Start["alkalinity"] != 7.8 {
		t.Errorf("water %+v", o.Waters[0])
	}
	if len(s.Holidays) != 1 || s.Holidays[0] != (rehearse.Span{From: 11 * day, To: 13 * day}) {
		t.Errorf("holidays %v", s.Holidays)
	}
	if w := s.WrongTests[0]; w.Quantity != "calcium" || w.Error != -40 || w.Day != 8 || w.System != "frag-tank" {
		t.Errorf("wrong test %+v", w)
	}
	if d := s.Drifts[0]; d.Channel != "ca" || d.Share != 0.05 {
		t.Errorf("drift %+v", d)
	}
	if out := s.Outages[0]; out.Node != rehearse.Broker || out.From != 4*day || out.To-out.From != day/4 {
		t.Errorf("outage %+v", out)
	}
	if s.Changes.Share != 0.15 || s.Changes.Every != 14*day || s.MissTests != 1 || s.Days != 20 || s.Seed != 3 {
		t.Errorf("scenario %+v", s)
	}
	// What the base brings: 40 mL of sodium bicarbonate, 60 g/L, in 120 L.
	if use := usualUse(l, l.Systems[0]); !(use > 0.6 && use < 0.7) {
		t.Errorf("the usual use is %g dKH/day; the base brings about 0.67", use)
	}
}

// TestRehearseCannotWrite says so and names the file.
func TestRehearseCannotWrite(t *testing.T) {
	t.Parallel()
	for _, flag := range []string{"--history-out", "--report"} {
		got := command(t, rehearsal("demo.yaml", "--days", "1", flag, filepath.Join(t.TempDir(), "no", "such", "folder"))...)
		if got.code != exitFailed || !contains(got.err, "folder") {
			t.Errorf("%s into nowhere: %s", flag, got)
		}
	}
}

// TestRehearseShouts ends with a failure where more came out than a cap allows, and still says how it went.
func TestRehearseShouts(t *testing.T) {
	t.Parallel()
	page := filepath.Join(t.TempDir(), "r.html")
	got := command(t, rehearsal("demo.yaml", "--days", "8", "--pump-drift", "alk=200%", "--use", "alkalinity=1.8 dKH/day", "--report", page)...)
	for _, want := range []string{"MORE WAS DELIVERED", "channel alk delivered", "drift by +200 %"} {
		if got.code != exitFailed || !contains(got.err, want) {
			t.Errorf("must end with code %d and say %q: %s", exitFailed, want, got)
		}
	}
	text, err := os.ReadFile(page)
	if err != nil || !contains(string(text), "More was delivered than a cap allows") || !contains(got.out, "More left the outlets") {
		t.Errorf("table and page must say so too: %v\n%s", err, got.out)
	}
}
