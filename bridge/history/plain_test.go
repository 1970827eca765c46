package history

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
)

const plainRunLine = `{"time":"2027-03-01T07:00:00Z","type":"run","channel":"alk","volume_ml":8.2,"outcome":"finished"}`

// checkPlain compares the two ways of reading one line, and says whether the fast one took it.
func checkPlain(t *testing.T, text string) bool {
	t.Helper()
	fast := newReader(Site{WithoutIDs: true})
	fast.n = 2
	row, ok := fast.plainRun([]byte(text))
	if !ok {
		return false
	}
	slow := newReader(Site{WithoutIDs: true})
	slow.n = 2
	if err := slow.take(text); err != nil {
		t.Fatalf("plainRun accepts what take refuses: %v\n%q", err, text)
	}
	if len(slow.rows) != 1 || !reflect.DeepEqual(slow.rows[0], row) || len(slow.notes) != 0 {
		t.Fatalf("plainRun = %+v\ntake gives %+v %v\n%q", row, slow.rows, slow.notes, text)
	}
	return true
}

func TestPlainRun(t *testing.T) {
	swap := func(old, new string) string { return strings.Replace(plainRunLine, old, new, 1) }
	for name, c := range map[string]struct {
		text  string
		plain bool
	}{
		"as it stands":         {plainRunLine, true},
		"unknown":              {swap("finished", "unknown"), true},
		"not sent":             {swap("finished", "not_sent"), true},
		"whole volume":         {swap("8.2", "8"), true},
		"least volume":         {swap("8.2", "0.001"), true},
		"most volume":          {swap("8.2", "9999.999"), true},
		"first year":           {swap("2027", "1970"), true},
		"last second":          {swap("2027-03-01T07:00:00", "9999-12-31T23:59:59"), true},
		"leap day":             {swap("2027-03-01", "2028-02-29"), true},
		"no leap day":          {swap("2027-03-01", "2027-02-29"), false},
		"month 13":             {swap("2027-03-01", "2027-13-01"), false},
		"month 0":              {swap("2027-03-01", "2027-00-01"), false},
		"day 0":                {swap("2027-03-01", "2027-03-00"), false},
		"hour 24":              {swap("T07", "T24"), false},
		"minute 60":            {swap("07:00:00", "07:60:00"), false},
		"second 60":            {swap("07:00:00", "07:00:60"), false},
		"year 1969":            {swap("2027", "1969"), false},
		"lower case":           {swap("Z", "z"), false},
		"offset":               {swap("Z", "+02:00"), false},
		"fraction of a second": {swap("00Z", "00.5Z"), false},
		"partial":              {swap("finished", "partial"), false},
		"no such outcome":      {swap("finished", "done"), false},
		"no volume":            {swap("8.2", "0"), false},
		"no volume, decimals":  {swap("8.2", "0.000"), false},
		"too much for it":      {swap("8.2", "10000"), false},
		"four decimals":        {swap("8.2", "8.2001"), false},
		"leading zero":         {swap("8.2", "08.2"), false},
		"no decimals":          {swap("8.2", "8."), false},
		"no whole":             {swap("8.2", ".2"), false},
		"negative":             {swap("8.2", "-8.2"), false},
		"exponent":             {swap("8.2", "8e0"), false},
		"no channel":           {swap("alk", ""), false},
		"escape":               {swap("alk", `al\u006b`), false},
		"not ASCII":            {swap("alk", "älk"), false},
		"not UTF-8":            {swap("alk", "\xff"), false},
		"control character":    {swap("alk", "a\tk"), false},
		"space":                {swap(`,"type"`, ` ,"type"`), false},
		"id":                   {swap(`"type"`, `"id":"x","type"`), false},
		"seconds":              {swap(`,"outcome"`, `,"seconds":1,"outcome"`), false},
		"more behind":          {plainRunLine + " ", false},
		"cut short":            {plainRunLine[:len(plainRunLine)-1], false},
		"another type":         {swap(`"run"`, `"tube"`), false},
	} {
		t.Run(name, func(t *testing.T) {
			if got := checkPlain(t, c.text); got != c.plain {
				t.Errorf("plainRun(%s) = %v; want %v", c.text, got, c.plain)
			}
		})
	}
	for n := range len(plainRunLine) {
		checkPlain(t, plainRunLine[:n]) // no index out of range
	}
}

// FuzzPlainRun: whatever the fast way accepts is accepted by the parser too, and is the same row.
func FuzzPlainRun(f *testing.F) {
	f.Add(plainRunLine)
	f.Add(strings.Replace(plainRunLine, "8.2", "9999.999", 1))
	f.Add(strings.Replace(plainRunLine, "2027-03-01", "2028-02-29", 1))
	f.Fuzz(func(t *testing.T, text string) { checkPlain(t, text) })
}

// FuzzPlainParts varies the parts of the line alone, so that most of what it tries is nearly plain.
func FuzzPlainParts(f *testing.F) {
	f.Add("2027-03-01T07:00:00Z", "alk", "8.2", "finished")
	f.Fuzz(func(t *testing.T, at, channel, volume, outcome string) {
		checkPlain(t, plainTime+at+plainChannel+channel+plainVolume+volume+plainOutcome+outcome+plainEnd)
	})
}

// Every volume that is taken is exact: no rounding differs between the two ways.
func TestPlainVolumes(t *testing.T) {
	for ul := 1; ul < 10_000_000; ul += 997 {
		text := strings.Replace(plainRunLine, "8.2", formatThousandths(ul), 1)
		if !checkPlain(t, text) {
			t.Fatalf("not taken: %s", text)
		}
	}
}

func TestPlainLinesOutOfOrder(t *testing.T) {
	early := strings.Replace(plainRunLine, "T07", "T06", 1)
	_, _, err := Site{WithoutIDs: true}.Read(strings.NewReader(plainRunLine+"\n"+early), "h.jsonl")
	if err == nil || !strings.Contains(err.Error(), "h.jsonl:2: time 2027-03-01T06:00:00Z lies before that of line 1") {
		t.Errorf("Read = %v; want that line 2 lies before line 1", err)
	}
}

func formatThousandths(ul int) string { return fmt.Sprintf("%d.%03d", ul/1000, ul%1000) }
