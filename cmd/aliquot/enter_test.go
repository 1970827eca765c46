package main

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
)

func TestParseTests(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		words string
		want  []entered
		bad   string
	}{
		{"alkalinity 8.3 dKH", []entered{{"alkalinity", 8.3, "dKH"}}, ""},
		{"alkalinity 8.3 dKH calcium 430 mg/L magnesium 1330 mg/L", []entered{{"alkalinity", 8.3, "dKH"}, {"calcium", 430, "mg/L"}, {"magnesium", 1330, "mg/L"}}, ""},
		{"alkalinity 143 ppm CaCO3 nitrate 5 mg/L as NO3", []entered{{"alkalinity", 143, "ppm CaCO3"}, {"nitrate", 5, "mg/L as NO3"}}, ""},
		{"Alkalinity=8.3dKH calcium=430 mg/L", []entered{{"alkalinity", 8.3, "dKH"}, {"calcium", 430, "mg/L"}}, ""},
		{"pH 8.2 calcium 430 mg/L", []entered{{"pH", 8.2, "pH"}, {"calcium", 430, "mg/L"}}, ""},
		{"ph 8.2 pH", []entered{{"pH", 8.2, "pH"}}, ""},
		{"alkalinity 8.3", []entered{{"alkalinity", 8.3, ""}}, ""}, // the service says which units there are
		{"salinity 1.0264 SG 25/25", []entered{{"salinity", 1.0264, "SG 25/25"}}, ""},
		{"nonsense 5 mg/L", []entered{{"nonsense", 5, "mg/L"}}, ""}, // the service says which quantities there are
		{"alkalinity 8,3 dKH", nil, "use a point as decimal mark"},
		{"alkalinity", nil, "no quantity with its number"},
		{"alkalinity dKH 8.3", nil, "number"},
	} {
		got, err := parseTests(strings.Fields(c.words))
		if (err != nil) != (c.bad != "") || (err != nil && !contains(err.Error(), c.bad)) || (err == nil && !reflect.DeepEqual(got, c.want)) {
			t.Errorf("%s: %v, %v; want %v, %q", c.words, got, err, c.want, c.bad)
		}
	}
}

func TestParseWhen(t *testing.T) {
	t.Parallel()
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2027, 7, 2, 9, 0, 0, 0, lisbon)
	for text, want := range map[string]string{
		"2027-03-01T08:30:00Z":      "2027-03-01T08:30:00Z",
		"2027-07-01T08:30:00+02:00": "2027-07-01T06:30:00Z",
		"2027-07-01 08:30":          "2027-07-01T07:30:00Z",
		"2027-03-01":                "2027-03-01T00:00:00Z",
		"09:00":                     "2027-07-02T08:00:00Z",
		"09:01":                     "2027-07-01T08:01:00Z", // not yet today
		"yesterday":                 "", "8": "", "2027-02-30": "", "25:00": "",
	} {
		got, err := parseWhen(text, now, lisbon)
		if text := got.UTC().Format(time.RFC3339); (err != nil) != (want == "") || (err == nil && text != want) {
			t.Errorf("%s: %s, %v; want %s", text, got, err, want)
		}
		if err != nil && !contains(err.Error(), "RFC 3339") {
			t.Errorf("%s: %v", text, err)
		}
	}
}

// tableOfALaboratory enters results from a file, twice: the second time changes nothing.
func (e *carer) tableOfALaboratory() {
	e.t.Helper()
	day := time.Now().Add(-72 * time.Hour).UTC().Format(time.DateOnly)
	file := writeFile(e.t, "results.csv", fmt.Sprintf("Sampled;Parameter;Result;Unit\n%[1]s;Ca;431,5;mg/L\n%[1]s;KH;8,1;dKH\n%[1]s;PO4;<0,01;mg/L\n", day))
	flags := []string{"enter", "--csv", file, "--map", "time=Sampled", "--map", "quantity=Parameter", "--map", "value=Result", "--map", "unit=Unit", "--name", "Ca=calcium", "--name", "KH=alkalinity", "--decimal-comma", "--by", "lab"}
	got := command(e.t, append(flags, "-c", e.config)...)
	if got.code != exitFailed || !contains(got.err, `"PO4" is no quantity`) || !contains(got.err, "nothing was entered") || got.out != "" {
		e.t.Errorf("a table with a name that nobody knows: %s", got)
	}
	flags = append(flags, "--name", "PO4=phosphate", "-c", e.config)
	got = command(e.t, append(flags, "--dry-run")...)
	if got.code != exitOK || !contains(got.out, "line 2: calcium 431.5 mg/L, sample of "+day) || !contains(got.out, "2 results in the table; nothing was entered") || !contains(got.err, "line 4: phosphate") {
		e.t.Errorf("a dry run of a table: %s", got)
	}
	before := len(e.tests())
	for range 2 {
		said := must(e.t, flags...)
		if !contains(said, "calcium of quay: 431.5 mg/L taken; the sample is ") || !contains(said, "by itself it raises no dose for a day") {
			e.t.Errorf("a table says %q", said)
		}
	}
	if n := len(e.tests()); n != before+2 {
		e.t.Errorf("%d tests stand in the ledger after a table of two was entered twice, %d before", n, before)
	}
}
