package main

import (
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/logbook"
	"aliquot/bridge/screen"
)

// demoHistory are the arguments for the invented history of the shipped demo site.
func demoHistory() []string {
	return []string{"-c", filepath.Join("..", "..", "deploy", "sites", "demo.yaml"), "--history", filepath.Join("testdata", "plan", "history.jsonl")}
}

func TestReportOfAHistory(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "march.html")
	got := command(t, append([]string{"report", "--month", "2027-03", "-o", file}, demoHistory()...)...)
	if got.code != exitOK || got.out != "" || !contains(got.err, "March 2027 is written to") {
		t.Fatalf("report: %s", got)
	}
	page, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"March 2027", "alkalinity, ", "as known now", "Doses by day", "Containers", "Known up to 15 March"} {
		if !contains(string(page), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if again := must(t, append([]string{"report", "--month", "2027-03"}, demoHistory()...)...); again != string(page) {
		t.Error("the same month again reads differently")
	}
	var span logbook.Span
	if err := json.Unmarshal([]byte(must(t, append([]string{"report", "--month", "2027-03", "--format", "json"}, demoHistory()...)...)), &span); err != nil || len(span.Quantities) == 0 || len(span.Channels[0].Days) != 31 {
		t.Errorf("as JSON: %v, %+v", err, span)
	}
	if got := command(t, append([]string{"report", "--month", "March"}, demoHistory()...)...); got.code != exitUsage || !contains(got.err, "2027-03") {
		t.Errorf("a month that is none: %s", got)
	}
}

func TestMonthOf(t *testing.T) {
	t.Parallel()
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{"": "2026-12-01 2027-01-01", "2027-02": "2027-02-01 2027-03-01", "2028-12": "2028-12-01 2029-01-01", "2027-13": "", "2027": ""} {
		from, to, err := monthOf(text, time.Date(2027, 1, 31, 12, 0, 0, 0, lisbon), lisbon)
		if got := from.Format(time.DateOnly) + " " + to.Format(time.DateOnly); (err != nil) != (want == "") || (err == nil && got != want) {
			t.Errorf("%q: %s, %v; want %s", text, got, err, want)
		}
	}
}

// TestRecordsFromALedger reads the ledger of a site that was only commissioned, in every form.
func TestRecordsFromALedger(t *testing.T) {
	t.Parallel()
	q := newQuay(t, nil, "records")
	r := &rig{t: t, quay: q, config: q.write(t, "site.yaml")}
	r.commission("alk", "trace")
	table := must(t, "history", "-c", r.config)
	for _, want := range []string{"refill", "carbonate-jug", "1500 mL added", "60 mL/min from 3 trials", "liquid was seen at the outlet"} {
		if !contains(table, want) {
			t.Errorf("the table does not say %q:\n%s", want, table)
		}
	}
	if some := must(t, "history", "-c", r.config, "--kind", "calibration", "--channel", "trace"); strings.Count(some, "\n") != 2 || !contains(some, "trace") {
		t.Errorf("the calibrations of one channel:\n%s", some)
	}
	if none := must(t, "history", "-c", r.config, "--until", "2020-01-01"); strings.Count(none, "\n") != 1 {
		t.Errorf("before everything:\n%s", none)
	}
	lines, err := csv.NewReader(strings.NewReader(must(t, "history", "-c", r.config, "--format", "csv"))).ReadAll()
	if err != nil || len(lines) != 7 || lines[0][0] != "time_utc" || lines[1][11] != "1500" {
		t.Errorf("CSV: %v, %v", lines, err)
	}
	var e logbook.Entry
	first, _, _ := strings.Cut(must(t, "history", "-c", r.config, "--format", "json"), "\n")
	if err := json.Unmarshal([]byte(first), &e); err != nil || e.Kind != "refill" || *e.VolumeML != 1500 {
		t.Errorf("JSON: %v, %s", err, first)
	}
	if got := command(t, "history", "-c", r.config, "--kind", "dose"); got.code != exitUsage || !contains(got.err, "there are: run, test") {
		t.Errorf("a kind that is none: %s", got)
	}
	page := must(t, "report", "-c", r.config, "--month", time.Now().UTC().Format("2006-01"))
	if !contains(page, "records, ") || !contains(page, "nothing is known of it; there was no test") {
		t.Errorf("the report of a month without a test")
	}
	day := must(t, "plan", "-c", r.config, "--day", "tomorrow")
	if !contains(day, "RECORDS, ") || !contains(day, "no_test") || !contains(day, "planned 2.00 mL in 1 run") {
		t.Errorf("the day from the ledger:\n%s", day)
	}
	if plan := must(t, "plan", "-c", r.config); !contains(plan, "trace: 2.00 mL in all") {
		t.Errorf("the plan from the ledger:\n%s", plan)
	}
}

func TestPlanDay(t *testing.T) {
	t.Parallel()
	svg := filepath.Join(t.TempDir(), "day.svg")
	text := must(t, append([]string{"plan", "--day", "2027-03-15", "--at", "2027-03-15T06:00:00Z", "--svg", svg}, demoHistory()...)...)
	for _, want := range []string{"Given up to 06:00, planned from there.", "alk and ca by 15 min", "not_primed"} {
		if !contains(text, want) {
			t.Errorf("the day does not say %q:\n%s", want, text)
		}
	}
	picture, err := os.ReadFile(svg)
	if err != nil {
		t.Fatal(err)
	}
	for d := xml.NewDecoder(strings.NewReader(string(picture))); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	var day screen.Day
	if err := json.Unmarshal([]byte(must(t, append([]string{"plan", "--day", "2027-03-16", "--at", "2027-03-15T06:00:00Z", "--format", "json"}, demoHistory()...)...)), &day); err != nil {
		t.Fatal(err)
	}
	runs := 0
	for _, l := range day.Lanes {
		for _, r := range l.Runs {
			runs++
			if r.Given || r.At.Before(day.From) || !r.At.Before(day.To) {
				t.Errorf("a run of %s on a day ahead: %+v", l.Channel, r)
			}
		}
	}
	if runs != 48 {
		t.Errorf("%d runs on a day ahead", runs)
	}
	for _, args := range [][]string{{"plan", "--svg", "x.svg", "--at", "2027-03-15T06:00:00Z"}, {"plan", "--day", "someday"}, {"plan"}} {
		if got := command(t, append(args, demoHistory()...)...); got.code != exitUsage {
			t.Errorf("%v: %s", args, got)
		}
	}
}

func TestDayOf(t *testing.T) {
	t.Parallel()
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2027, 3, 27, 23, 30, 0, 0, time.UTC)
	for text, hours := range map[string]float64{"today": 24, "tomorrow": 23, "2027-10-31": 25, "": 24} {
		from, to, err := dayOf(text, now, lisbon)
		if err != nil || to.Sub(from).Hours() != hours || from.In(lisbon).Hour() != 0 {
			t.Errorf("%q: %s to %s, %v; want %g h", text, from, to, err, hours)
		}
	}
	if _, _, err := dayOf("27.3.2027", now, lisbon); err == nil || !contains(fmt.Sprint(err), "2027-03-15") {
		t.Errorf("a day that is none: %v", err)
	}
}
