package labtable

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

var lisbon = mustZone("Europe/Lisbon")

func mustZone(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return z
}

// told writes results so that a test can compare them.
func told(results []Result) string {
	var out []string
	for _, r := range results {
		at := ""
		if !r.At.IsZero() {
			at = r.At.UTC().Format("01-02T15:04") + " "
		}
		out = append(out, fmt.Sprintf("%d: %s%s%s=%g %s", r.Line, at, r.System, r.Quantity, r.Value, r.Unit))
	}
	return strings.Join(out, "; ")
}

func TestRead(t *testing.T) {
	long := Map{Time: "Sampled", Quantity: "Parameter", Value: "Result", Unit: "Unit", Zone: lisbon}
	for _, c := range []struct {
		name, text, want string
		change           func(*Map)
		skipped          int
	}{
		{"long", "Sampled,Parameter,Result,Unit\n2027-03-01T08:30:00Z,calcium,431,mg/L\n2027-03-01,Alkalinity,8.2,dKH\n", "2: 03-01T08:30 calcium=431 mg/L; 3: 03-01T12:00 alkalinity=8.2 dKH", nil, 0},
		{"semicolons, decimal commas, a byte order mark", "\ufeffSampled;Parameter;Result;Unit\n1.7.2027;calcium;431,5;mg/L\n", "2: 07-01T11:00 calcium=431.5 mg/L", func(m *Map) { m.Dates, m.DecimalComma = DayFirst, true }, 0},
		{"month first, hours", "Sampled\tParameter\tResult\tUnit\n7/1/2027 08:30\tcalcium\t431\tmg/L\n", "2: 07-01T07:30 calcium=431 mg/L", func(m *Map) { m.Dates = MonthFirst }, 0},
		{"other names", "Sampled,Parameter,Result,Unit\n2027-03-01,Ca,431,mg/L\n2027-03-01,Si,0.2,mg/L\n", "2: 03-01T12:00 calcium=431 mg/L", func(m *Map) { m.Names = map[string]string{"Ca": "calcium", "Si": LeftOut} }, 1},
		{"unit beside the value", "Sampled,Parameter,Result,Unit\n2027-03-01,calcium,431 mg/L,\n", "2: 03-01T12:00 calcium=431 mg/L", nil, 0},
		{"one unit for all", "Sampled,Parameter,Result\n2027-03-01,calcium,431\n", "2: 03-01T12:00 calcium=431 mg/L", func(m *Map) { m.Unit, m.FixedUnit = "", "mg/L" }, 0},
		{"no unit is not guessed", "Sampled,Parameter,Result\n2027-03-01,calcium,431\n", "2: 03-01T12:00 calcium=431 ", func(m *Map) { m.Unit = "" }, 0},
		{"below what can be seen", "Sampled,Parameter,Result,Unit\n2027-03-01,phosphate,<0.02,mg/L\n2027-03-01,nitrate,n.d.,mg/L\n2027-03-01,iron,,mg/L\n", "", nil, 3},
		{"blank lines", "Sampled,Parameter,Result,Unit\n,,,\n2027-03-01,calcium,431,mg/L\n", "3: 03-01T12:00 calcium=431 mg/L", nil, 0},
		{"wide", "Day,Ca mg/l,KH\n2027-03-01,431,8.2\n2027-03-02,,8.1\n", "2: 03-01T12:00 calcium=431 mg/L; 2: 03-01T12:00 alkalinity=8.2 dKH; 3: 03-02T12:00 alkalinity=8.1 dKH",
			func(m *Map) {
				*m = Map{Time: "Day", Zone: lisbon, Columns: []Column{{"calcium", "Ca mg/l", "mg/L"}, {"alkalinity", "KH", "dKH"}}}
			}, 1},
		{"system, and no time", "Tank,P,V\nnursery,calcium,431 mg/L\n", "2: nurserycalcium=431 mg/L", func(m *Map) { *m = Map{System: "Tank", Quantity: "P", Value: "V"} }, 0},
	} {
		m := long
		if c.change != nil {
			c.change(&m)
		}
		got, skipped, err := Read(strings.NewReader(c.text), m)
		if err != nil || told(got) != c.want || len(skipped) != c.skipped {
			t.Errorf("%s: %s, %d skipped, %v; want %s, %d skipped", c.name, told(got), len(skipped), err, c.want, c.skipped)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	long := Map{Time: "Sampled", Quantity: "Parameter", Value: "Result", Unit: "Unit"}
	for _, c := range []struct {
		name, text, want string
		m                Map
	}{
		{"nothing", "", "no line of column names", long},
		{"no values mapped", "A,B\n", "the columns are: A, B", Map{Time: "A"}},
		{"half of a long table", "A,B\n", "needs both", Map{Value: "A"}},
		{"missing column", "Sampled,Parameter,Result\n", `no column "Unit"; the columns are: Sampled, Parameter, Result`, long},
		{"unknown quantity", "Sampled,Parameter,Result,Unit\n2027-03-01,Ca,431,mg/L\n", "line 2: \"Ca\" is no quantity; say which one it is, as in --name Ca=calcium, or leave it out with --name Ca=-", long},
		{"decimal comma not said", "Sampled;Parameter;Result;Unit\n2027-03-01;calcium;431,5;mg/L\n", "line 2: calcium", long},
		{"a date in another order", "Sampled,Parameter,Result,Unit\n1.3.2027,calcium,431,mg/L\n", "--dates dmy", long},
		{"a day that is none", "Sampled,Parameter,Result,Unit\n2027-02-30,calcium,431,mg/L\n", "line 2: Sampled", long},
		{"text", "Sampled,Parameter,Result,Unit\n2027-03-01,calcium,much,mg/L\n", "line 2: calcium", long},
	} {
		got, _, err := Read(strings.NewReader(c.text), c.m)
		if err == nil || !strings.Contains(err.Error(), c.want) || got != nil {
			t.Errorf("%s: %v, %v; want %q", c.name, got, err, c.want)
		}
	}
	_, _, err := Read(strings.NewReader("Sampled,Parameter,Result,Unit\n2027-03-01,calcium,much,mg/L\n2027-03-01,what,7,mg/L\n"), long)
	if err == nil || !strings.Contains(err.Error(), "line 2") || !strings.Contains(err.Error(), "line 3") {
		t.Errorf("not every mistake is named: %v", err)
	}
	if _, _, err := Read(strings.NewReader("P,V\n"+strings.Repeat("calcium,431\n", maxLines+1)), Map{Quantity: "P", Value: "V"}); err == nil {
		t.Error("a table without end is read")
	}
}

// FuzzRead: whatever a file holds, what is given is finite and names a known quantity.
func FuzzRead(f *testing.F) {
	f.Add("Sampled,Parameter,Result,Unit\n2027-03-01,calcium,431,mg/L\n", true)
	f.Add("Sampled;Parameter;Result;Unit\n1.3.27;pH;\"8,1\";\n", false)
	f.Fuzz(func(t *testing.T, text string, comma bool) {
		got, _, err := Read(strings.NewReader(text), Map{Time: "Sampled", Quantity: "Parameter", Value: "Result", Dates: DayFirst, DecimalComma: comma})
		if err != nil && got != nil {
			t.Fatal("results beside an error")
		}
		for _, r := range got {
			if !r.Quantity.Known() || r.Value-r.Value != 0 || r.Line < 2 || r.At.IsZero() {
				t.Fatalf("%+v", r)
			}
		}
	})
}
