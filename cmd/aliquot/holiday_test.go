package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"aliquot/bridge/holiday"
)

func holidayArgs(more ...string) []string {
	return append(append([]string{"holiday", "--at", "2027-03-15T06:00:00Z"}, demoHistory()...), more...)
}

func TestHolidayOfAHistory(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "helper.html")
	got := command(t, holidayArgs("--from", "2027-03-20", "--until", "2027-04-10", "--sheet", file)...)
	if got.code != exitOK || !contains(got.err, "sheet is written to") {
		t.Fatalf("holiday: %s", got)
	}
	for _, want := range []string{"Sat 20 Mar 2027 to Sat 10 Apr 2027", "channel mg does not run now (not_primed)", "aliquot refill calcium-bottle", "mL into calcium-bottle", "tested on the day of leaving"} {
		if !contains(got.out, want) {
			t.Errorf("it does not say %q:\n%s", want, got.out)
		}
	}
	page, err := os.ReadFile(file)
	if err != nil || !contains(string(page), "Looking after") {
		t.Errorf("the sheet: %v", err)
	}
	var h holiday.Holiday
	if err := json.Unmarshal([]byte(must(t, holidayArgs("--from", "2027-03-20", "--until", "2027-04-10", "--format", "json")...)), &h); err != nil || len(h.Before) == 0 || len(h.Outlook.Containers) != 4 {
		t.Errorf("as JSON: %v, %+v", err, h)
	}
}

func TestHolidayDays(t *testing.T) {
	t.Parallel()
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2027, 3, 20, 9, 0, 0, 0, lisbon)
	for _, c := range []struct{ name, from, until, want string }{
		{"over the change of the clocks", "2027-03-25", "2027-04-02", "2027-03-25T00:00:00Z 2027-04-03T00:00:00+01:00"},
		{"from today", "2027-03-20", "2027-03-20", "2027-03-20T09:00:00Z 2027-03-21T00:00:00Z"},
		{"away already", "2027-03-10", "2027-03-22", "2027-03-20T09:00:00Z 2027-03-23T00:00:00Z"},
		{"over", "2027-03-10", "2027-03-19", ""},
		{"backwards", "2027-03-25", "2027-03-24", ""},
		{"at the most", "2027-03-25", "2027-07-17", "2027-03-25T00:00:00Z 2027-07-18T00:00:00+01:00"},
		{"too far ahead", "2027-03-25", "2027-07-18", ""},
		{"no day", "Easter", "2027-03-24", ""},
		{"no last day", "2027-03-24", "2027-02-30", ""},
	} {
		from, until, err := holidayCommand{From: c.from, Until: c.until}.span(at, lisbon)
		if got := from.Format(time.RFC3339) + " " + until.Format(time.RFC3339); (err != nil) != (c.want == "") || (err == nil && got != c.want) {
			t.Errorf("%s: %s, %v; want %s", c.name, got, err, c.want)
		}
	}
}

func TestHolidayFromALedger(t *testing.T) {
	t.Parallel()
	q := newQuay(t, nil, "holiday")
	r := &rig{t: t, quay: q, config: q.write(t, "site.yaml")}
	r.commission("alk", "trace")
	day := func(n int) string { return time.Now().UTC().AddDate(0, 0, n).Format(time.DateOnly) }
	if got := must(t, "holiday", "-c", r.config, "--from", day(1), "--until", day(8)); !contains(got, "carbonate-jug") || !contains(got, "it was never tested, and channel alk gives nothing until then") {
		t.Errorf("from the ledger:\n%s", got)
	}
}
