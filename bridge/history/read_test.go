package history

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

func µl(v safety.Microlitres) *safety.Microlitres { return &v }

func f64(v float64) *float64 { return &v }

func TestContractLines(t *testing.T) {
	rows, notes := mustRead(t, testdata(t, "contract.jsonl"))
	if len(notes) != 0 {
		t.Errorf("notes %v; want none", notes)
	}
	want := []struct {
		at   string
		body machine.Body
	}{
		{"07:00:00", machine.Refill{Container: "carbonate-jug", Added: 4_800_000}},
		{"07:10:00", machine.Primed{Channel: "alk"}},
		{"07:20:00", machine.Calibration{Channel: "alk", Trials: []metering.Trial{{Seconds: 60, MeasuredML: 9.7}, {Seconds: 60, MeasuredML: 9.9}, {Seconds: 60, MeasuredML: 9.8}}}},
		{"08:00:00", machine.Test{System: "nursery", Quantity: units.Alkalinity, Level: 8.1, Value: 8.1, Unit: "dKH", Taken: at("08:00:00")}},
		{"08:05:00", machine.RunPast{Channel: "alk", Happened: at("08:05:00"), Purpose: machine.Dose, Into: machine.IntoTank, Volume: 2040, Outcome: machine.Finished}},
		{"09:00:00", machine.WaterChange{System: "nursery", Taken: at("09:00:00"), Litres: 28, Mix: []machine.Level{{Quantity: units.Alkalinity, Level: 7.9}}}},
		{"10:10:00", machine.ProbeMean{Probe: "ph", From: at("10:10:00"), Until: at("10:10:00"), Mean: 8.19, Count: 1}},
	}
	if len(rows) != len(want) {
		t.Fatalf("%d rows, want %d", len(rows), len(want))
	}
	for i, w := range want {
		r := rows[i]
		if !reflect.DeepEqual(r.Body, w.body) {
			t.Errorf("line %d reads %+v, want %+v", i+1, r.Body, w.body)
		}
		if !r.At.Equal(at(w.at)) || r.Elapsed != safety.Elapsed(at(w.at).UnixMilli()) || !r.Trusted || r.Seq != int64(i)+1 || r.By != "" {
			t.Errorf("line %d has the frame %+v", i+1, r)
		}
		if !strings.HasPrefix(r.ID, "h-") || len(r.ID) != 26 {
			t.Errorf("line %d has the id %q, want a derived one", i+1, r.ID)
		}
	}
}

func TestBodies(t *testing.T) {
	for _, c := range []struct {
		line string // behind time and type
		want machine.Body
	}{
		{`"type":"test","system":"s","quantity":"alkalinity","value":143,"unit":"ppm CaCO3","of":"tank"`,
			machine.Test{System: "s", Quantity: units.Alkalinity, Level: 143 * 0.0560288, Value: 143, Unit: "ppm CaCO3", Taken: at("07:00:00")}},
		{`"type":"test","system":"s","quantity":"temperature","value":77,"unit":"degF"`,
			machine.Test{System: "s", Quantity: units.Temperature, Level: 77*5.0/9 - 160.0/9, Value: 77, Unit: "degF", Taken: at("07:00:00")}},
		{`"type":"test","system":"s","quantity":"pH","value":8.2,"unit":"pH","of":"mix","method":"strip","lot":"7"`,
			machine.Test{System: "s", Quantity: units.PH, Level: 8.2, Value: 8.2, Unit: "pH", Taken: at("07:00:00"), Of: "mix", Method: "strip", Lot: "7"}},
		{`"type":"test","system":"s","quantity":"alkalinity","value":3,"unit":"meq/L","of":"reference","stated":3,"lot":"7"`,
			machine.Test{System: "s", Quantity: units.Alkalinity, Level: 3 * 2.80385, Value: 3, Unit: "meq/L", Taken: at("07:00:00"), Of: "reference", Lot: "7", Stated: 3, StatedLevel: 3 * 2.80385}},
		// UNESCO 44: 42.914 mS/cm at 15 degC (IPTS-68) is 35 psu (Culkin & Smith 1980).
		{`"type":"test","system":"s","quantity":"salinity","value":42.914,"unit":"mS/cm","temperature":{"value":14.9964,"unit":"degC"}`,
			machine.Test{System: "s", Quantity: units.Salinity, Level: 35.00000, Value: 42.914, Unit: "mS/cm", SampleC: f64(14.9964), Taken: at("07:00:00")}},
		{`"type":"test","system":"s","quantity":"alkalinity","value":8.2,"unit":"dKH","temperature":{"unit":"degF","value":68}`,
			machine.Test{System: "s", Quantity: units.Alkalinity, Level: 8.2, Value: 8.2, Unit: "dKH", SampleC: f64(68*5.0/9 - 160.0/9), Taken: at("07:00:00")}},
		{`"type":"run","channel":"alk","volume_ml":8.2,"outcome":"partial","delivered_ml":0,"seconds":0.0001,"purpose":"test","into":"vessel"`,
			machine.RunPast{Channel: "alk", Happened: at("07:00:00"), Purpose: machine.TestRun, Into: machine.IntoVessel, Volume: 8200, Duration: 1, Delivered: µl(0), Outcome: machine.Partial}},
		{`"type":"run","channel":"alk","volume_ml":2.0201,"outcome":"finished","seconds":12.4,"delivered_ml":2.0171,"purpose":"dose","into":"tank"`,
			machine.RunPast{Channel: "alk", Happened: at("07:00:00"), Purpose: machine.Dose, Into: machine.IntoTank, Volume: 2021, Duration: 12_400, Delivered: µl(2018), Outcome: machine.Finished}},
		{`"type":"run","channel":"alk","volume_ml":1,"outcome":"not_sent","purpose":"calibration"`,
			machine.RunPast{Channel: "alk", Happened: at("07:00:00"), Purpose: machine.Calibrate, Into: machine.IntoTank, Volume: 1000, Outcome: machine.NotSent}},
		{`"type":"refill","container":"jug","volume_ml":0.0019,"remaining_ml":0`, machine.Refill{Container: "jug", Added: 1, Remaining: µl(0)}},
		{`"type":"swap","container":"jug","supplement":"carbonate","volume_ml":500`, machine.Swap{Container: "jug", Supplement: "carbonate", Remaining: 500_000}},
		{`"type":"swap","container":"jug","supplement":"carbonate","volume_ml":500,"remaining_ml":510`, machine.Swap{Container: "jug", Supplement: "carbonate", Remaining: 510_000}},
		{`"type":"water_change","system":"s","volume_l":30`, machine.WaterChange{System: "s", Taken: at("07:00:00"), Litres: 30}},
		{`"type":"water_change","system":"s","volume_l":30,"until":"2027-03-01T08:00:00Z","mix":{}`, machine.WaterChange{System: "s", Taken: at("07:00:00"), Until: at("08:00:00"), Litres: 30}},
		{`"type":"water_change","system":"s","volume_l":30,"mix":{"salinity":{"value":35,"unit":"ppt"},"calcium":{"unit":"ug/L","value":430000}}`,
			machine.WaterChange{System: "s", Taken: at("07:00:00"), Litres: 30, Mix: []machine.Level{{Quantity: units.Calcium, Level: 430}, {Quantity: units.Salinity, Level: 35}}}},
		{`"type":"salinity_correction","system":"s","volume_l":-2`, machine.SalinityCorrection{System: "s", Litres: -2}},
		{`"type":"salinity_correction","system":"s","value":35,"unit":"ppt"`, machine.SalinityCorrection{System: "s", Level: f64(35)}},
		{`"type":"probe","probe":"temp","value":77,"unit":"degF"`, machine.ProbeMean{Probe: "temp", From: at("07:00:00"), Until: at("07:00:00"), Mean: 77*5.0/9 - 160.0/9, Count: 1}},
		{`"type":"probe","probe":"kh","value":2,"unit":"mmol/L"`, machine.ProbeMean{Probe: "kh", From: at("07:00:00"), Until: at("07:00:00"), Mean: 2 * 2.80385, Count: 1}},
		{`"type":"probe","probe":"unheard-of","value":430000,"unit":"ug/L"`, machine.ProbeMean{Probe: "unheard-of", From: at("07:00:00"), Until: at("07:00:00"), Mean: 430, Count: 1}},
		{`"type":"probe","probe":"unheard-of","value":1,"unit":"switch"`, machine.ProbeMean{Probe: "unheard-of", From: at("07:00:00"), Until: at("07:00:00"), Mean: 1, Count: 1}},
		{`"type":"probe","probe":"leak","value":0.25,"unit":"switch"`, machine.ProbeMean{Probe: "leak", From: at("07:00:00"), Until: at("07:00:00"), Mean: 0.25, Count: 1}},
		{`"type":"note","system":"s","kind":"other","text":"tab\tquote\"é\u00e9"`, machine.Note{System: "s", Note: "other", Text: "tab\tquote\"éé"}},
	} {
		t.Run(c.line, func(t *testing.T) {
			got := one(t, `{"time":"2027-03-01T07:00:00Z",`+c.line+`}`).Body
			if !alike(got, c.want) {
				t.Fatalf("reads %+v\nwant  %+v", got, c.want)
			}
		})
	}
}

// alike compares levels within 1e-5, everything else exactly. 1 mg/L CaCO3 is 0.0560288 dKH and 1 meq/L 2.80385 dKH,
// from the atomic weights of CIAAW 2021.
func alike(a, b machine.Body) bool {
	near := func(x, y float64) bool { return x-y < 1e-5 && y-x < 1e-5 }
	switch x := a.(type) {
	case machine.Test:
		y, ok := b.(machine.Test)
		if ok && near(x.Level, y.Level) {
			x.Level = y.Level
		}
		a = x
	case machine.ProbeMean:
		y, ok := b.(machine.ProbeMean)
		if ok && near(x.Mean, y.Mean) {
			x.Mean = y.Mean
		}
		a = x
	}
	return reflect.DeepEqual(a, b)
}

func TestTimes(t *testing.T) {
	for text, want := range map[string]string{
		"2027-03-01T07:00:00Z":           "2027-03-01T07:00:00Z",
		"2027-03-01t07:00:00z":           "2027-03-01T07:00:00Z",
		"2027-03-01T08:30:00.125+01:30":  "2027-03-01T07:00:00.125Z",
		"2027-02-28T23:00:00-08:00":      "2027-03-01T07:00:00Z",
		"2027-03-01T07:00:00.123456789Z": "2027-03-01T07:00:00.123456789Z",
		"1970-01-01T00:00:00Z":           "1970-01-01T00:00:00Z",
		"9999-12-31T23:59:59Z":           "9999-12-31T23:59:59Z",
		"1969-12-31T23:59:59Z":           "",
		"1970-01-01T00:00:00+01:00":      "",
		"9999-12-31T23:59:59-01:00":      "",
		"0000-01-01T00:00:00Z":           "",
		"2027-03-01 07:00:00Z":           "",
		"2027-03-01T07:00:00":            "",
		"2027-03-01T7:00:00Z":            "",
		"2027-03-01T07:00:00,5Z":         "",
		"2027-03-01T07:00:00+24:00":      "",
		"2027-03-01T07:00:00+01:60":      "",
		"2027-03-01":                     "",
		"2027-02-29T07:00:00Z":           "",
		"2027-03-01T24:00:00Z":           "",
		"1772348400":                     "",
		"":                               "",
	} {
		got, err := parseTime(text)
		if want == "" && err == nil {
			t.Errorf("parseTime(%q) = %v; want an error", text, got)
		}
		if want != "" && (err != nil || got.Format(time.RFC3339Nano) != want || got.Location() != time.UTC) {
			t.Errorf("parseTime(%q) = %v, %v; want %s", text, got, err, want)
		}
	}
}

func manyQuantities(n int) string {
	list := make([]string, n)
	for i := range list {
		list[i] = fmt.Sprintf(`"q%d":{"value":1,"unit":"mg/L"}`, i)
	}
	return strings.Join(list, ",")
}

func TestErrorsNameTheLineAndTheFault(t *testing.T) {
	const frame = `{"time":"2027-03-01T07:00:00Z",`
	for _, c := range []struct{ line, want string }{
		{`nonsense`, `not a JSON object: at byte 1 stands "nonsense" where { should stand`},
		{`[]`, `where { should stand`},
		{`{}`, `time is missing`},
		{`{"time":"2027-03-01T07:00:00Z"}`, `type is missing`},
		{frame + `"type":"tube","channel":"alk"} {}`, `where the end of the line should stand`},
		{frame + `"type":"tube","channel":"alk"`, `the line ends where a comma or } should stand`},
		{frame + `"type":"tube","channel":"alk",}`, `where a text in quotes should stand`},
		{frame + `"type":"tube","channel":"alk","channel":"ca"}`, `channel stands twice`},
		{frame + `"type":"tube","Channel":"alk"}`, `unknown field "Channel"`},
		{frame + `"type":"tube","channel":"alk","colour":"red"}`, `unknown field "colour"`},
		{frame + `"type":"tube","channel":"alk","lot":"7"}`, `tube has no field "lot" (it has time, type, id, by, channel)`},
		{frame + `"type":"tube"}`, `tube needs channel`},
		{frame + `"type":"tube","channel":""}`, `channel: is empty: leave it out`},
		{frame + `"type":"tube","channel":7}`, `channel: not a JSON object: at byte 56 stands "7}" where a text in quotes should stand`},
		{frame + `"type":"tube","channel":null}`, `where a text in quotes should stand`},
		{frame + `"type":"tube","channel":"a` + "\x01" + `"}`, `no control character`},
		{frame + `"type":"tube","channel":"a` + "\xff" + `"}`, `not UTF-8`},
		{frame + `"type":"tube","channel":"\q"}`, `is no text`},
		{frame + `"type":"tubes","channel":"alk"}`, `unknown type "tubes" (there are accepted, calibration, cleared, hold, lockout, note, out_of_service, primed, probe, refill, release, run, salinity_correction, self_stop_proof, swap, test, tube, water_change)`},
		{`{"time":"yesterday","type":"tube","channel":"alk"}`, `time: "yesterday" is no time in RFC 3339`},

		{frame + `"type":"test","system":"s","quantity":"alkalinity","value":8.3}`, `test needs unit`},
		{frame + `"type":"test","system":"s","quantity":"alkalinity","value":1e999,"unit":"dKH"}`, `value: the number 1e999 is too large`},
		{frame + `"type":"test","system":"s","quantity":"alkalinity","value":1.7e308,"unit":"meq/L"}`, `not a finite number`},
		{frame + `"type":"test","system":"s","quantity":"alkalinity","value":"8.3","unit":"dKH"}`, `where a number should stand`},
		{frame + `"type":"test","system":"s","quantity":"alkalinity","value":08.3,"unit":"dKH"}`, `where a number should stand`},
		{frame + `"type":"test","system":"s","quantity":"alkalinity","value":NaN,"unit":"dKH"}`, `where a number should stand`},
		{frame + `"type":"test","system":"s","quantity":"alkalinity","value":8,3,"unit":"dKH"}`, `where a text in quotes should stand`},
		{frame + `"type":"test","system":"s","quantity":"alkalinity","value":8.3,"unit":"psu"}`, `is no unit of alkalinity`},
		{frame + `"type":"test","system":"s","quantity":"alkalinty","value":8.3,"unit":"dKH"}`, `is no known quantity`},
		{frame + `"type":"test","system":"s","quantity":"pH","value":8.3,"unit":"pH","of":"jug"}`, `of is "jug", must be tank, mix, reference`},
		{frame + `"type":"test","system":"s","quantity":"pH","value":8.3,"unit":"pH","entered":"2027-03-01T06:59:59Z"}`, `entered lies before time`},

		{frame + `"type":"run","channel":"alk","volume_ml":0,"outcome":"finished"}`, `volume_ml is 0, must be above 0`},
		{frame + `"type":"run","channel":"alk","volume_ml":-1,"outcome":"finished"}`, `volume_ml is -1, must be above 0`},
		{frame + `"type":"run","channel":"alk","volume_ml":1.1e9,"outcome":"finished"}`, `volume_ml: a volume of 1.1e+09 mL`},
		{frame + `"type":"run","channel":"alk","volume_ml":1,"outcome":"refused"}`, `outcome is "refused", must be finished, partial, unknown, not_sent`},
		{frame + `"type":"run","channel":"alk","volume_ml":1,"outcome":"partial"}`, `a partial run needs delivered_ml`},
		{frame + `"type":"run","channel":"alk","volume_ml":1,"outcome":"unknown","delivered_ml":1}`, `whose outcome is unknown has no delivered_ml`},
		{frame + `"type":"run","channel":"alk","volume_ml":1,"outcome":"finished","delivered_ml":-0.1}`, `delivered_ml: a volume of -0.1 mL`},
		{frame + `"type":"run","channel":"alk","volume_ml":1,"outcome":"finished","seconds":-1}`, `seconds: -1 s is not a number from 0`},
		{frame + `"type":"run","channel":"alk","volume_ml":1,"outcome":"finished","purpose":"proof"}`, `purpose is "proof"`},
		{frame + `"type":"run","channel":"alk","volume_ml":1,"outcome":"finished","into":"sump"}`, `into is "sump", must be tank, vessel`},

		{frame + `"type":"calibration","channel":"alk","trials":[]}`, `trials is empty`},
		{frame + `"type":"calibration","channel":"alk","trials":[{"seconds":60}]}`, `trial 1: seconds and measured_ml must both be given and above 0`},
		{frame + `"type":"calibration","channel":"alk","trials":[{"seconds":60,"measured_ml":9,"x":1}]}`, `unknown field "x" in a trial`},
		{frame + `"type":"calibration","channel":"alk","trials":[{"seconds":60,"seconds":61,"measured_ml":9}]}`, `seconds stands twice in a trial`},
		{frame + `"type":"calibration","channel":"alk","trials":[{"seconds":60,"measured_ml":9}`, `the line ends where a comma or ] should stand`},

		{frame + `"type":"refill","container":"jug","volume_ml":-1}`, `volume_ml: a volume of -1 mL`},
		{frame + `"type":"refill","container":"jug","volume_ml":1,"remaining_ml":-1}`, `remaining_ml: a volume of -1 mL`},
		{frame + `"type":"swap","container":"jug","volume_ml":1}`, `swap needs supplement`},
		{frame + `"type":"water_change","system":"s","volume_l":0}`, `volume_l is 0, must be above 0`},
		{frame + `"type":"water_change","system":"s","volume_l":1,"until":"2027-03-01T07:00:00Z"}`, `until does not lie after time`},
		{frame + `"type":"test","system":"s","quantity":"salinity","value":53,"unit":"mS/cm","temperature":25}`, `temperature: `},
		{frame + `"type":"test","system":"s","quantity":"salinity","value":53,"unit":"mS/cm","temperature":{"value":25}}`, `temperature: `},
		{frame + `"type":"test","system":"s","quantity":"salinity","value":53,"unit":"mS/cm","temperature":{"unit":"degC"}}`, `temperature has no value`},
		{frame + `"type":"test","system":"s","quantity":"salinity","value":53,"unit":"mS/cm","temperature":{"value":25,"unit":"dKH"}}`, `temperature: `},
		{frame + `"type":"test","system":"s","quantity":"salinity","value":53,"unit":"mS/cm","temperature":{"value":40.1,"unit":"degC"}}`, `0..40 degC`},
		{frame + `"type":"test","system":"s","quantity":"salinity","value":53,"unit":"mS/cm","temperature":{"value":25,"unit":"degC","x":1}}`, `unknown field "x" in temperature`},
		{frame + `"type":"water_change","system":"s","volume_l":1,"mix":{"calcium":{"value":430}}}`, `mix: calcium: `},
		{frame + `"type":"water_change","system":"s","volume_l":1,"mix":{"calcium":{"unit":"mg/L"}}}`, `mix: calcium has no value`},
		{frame + `"type":"water_change","system":"s","volume_l":1,"mix":{"calcium":{"value":1,"unit":"mg/L","x":1}}}`, `unknown field "x" in calcium`},
		{frame + `"type":"water_change","system":"s","volume_l":1,"mix":{"calcium":{"value":1,"value":1,"unit":"mg/L"}}}`, `value stands twice in calcium`},
		{frame + `"type":"water_change","system":"s","volume_l":1,"mix":{"calcium":{"value":1,"unit":"mg/L"},"calcium":{"value":1,"unit":"mg/L"}}}`, `calcium stands twice`},
		{frame + `"type":"water_change","system":"s","volume_l":1,"mix":{` + manyQuantities(101) + `}}`, `mix: more than 100 quantities`},
		{frame + `"type":"water_change","system":"s","volume_l":1,"mix":{` + manyQuantities(100) + `}}`, `"q0" is no known quantity`},
		{frame + `"type":"water_change","system":"s","volume_l":1,"mix":{"salt":{"value":1,"unit":"mg/L"}}}`, `"salt" is no known quantity`},
		{frame + `"type":"salinity_correction","system":"s"}`, `needs either volume_l, or value and unit`},
		{frame + `"type":"salinity_correction","system":"s","volume_l":1,"value":35,"unit":"psu"}`, `needs either volume_l, or value and unit`},
		{frame + `"type":"salinity_correction","system":"s","volume_l":0}`, `volume_l is 0`},
		{frame + `"type":"salinity_correction","system":"s","unit":"psu"}`, `needs value beside unit`},
		{frame + `"type":"salinity_correction","system":"s","value":35}`, `value: `},
		{frame + `"type":"probe","probe":"ph","value":8,"unit":"dKH"}`, `is no unit of pH`},
		{frame + `"type":"probe","probe":"leak","value":2,"unit":"switch"}`, `a switch's mean is 0 to 1`},
		{frame + `"type":"probe","probe":"leak","value":1,"unit":"mV"}`, `a switch's mean is 0 to 1 with the unit "switch"`},
		{frame + `"type":"probe","probe":"unheard-of","value":2,"unit":"mmol/L"}`, `means different things for different quantities`},
		{frame + `"type":"probe","probe":"unheard-of","value":2,"unit":"furlong"}`, `"furlong" is no unit of any quantity`},
		{frame + `"type":"note","system":"s","kind":"party"}`, `kind is "party", must be livestock_added`},
	} {
		t.Run(c.line, func(t *testing.T) {
			rows, notes, err := site.Read(strings.NewReader("\n"+c.line+"\n"), "h.jsonl")
			var lineError *Error
			if !errors.As(err, &lineError) || lineError.Line != 2 || !strings.HasPrefix(err.Error(), "h.jsonl:2: ") || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("error %v\nwant one of line 2 with %q", err, c.want)
			}
			if rows != nil || notes != nil {
				t.Fatalf("rows %v, notes %v came with an error", rows, notes)
			}
		})
	}
}

// An unbelievable test is no error: it is folded as unconfirmed, and the note says so.
func TestH29ImplausibleTestsAreKeptWithANote(t *testing.T) {
	for _, c := range []struct {
		fields string
		noted  bool
	}{
		{`"quantity":"alkalinity","value":4,"unit":"dKH"`, false},
		{`"quantity":"alkalinity","value":3.99,"unit":"dKH"`, true},
		{`"quantity":"alkalinity","value":16,"unit":"dKH"`, false},
		{`"quantity":"alkalinity","value":16.01,"unit":"dKH"`, true},
		{`"quantity":"alkalinity","value":143,"unit":"dKH"`, true},
		{`"quantity":"alkalinity","value":-8,"unit":"dKH"`, true},
		{`"quantity":"calcium","value":1e300,"unit":"mg/L"`, true},
		{`"quantity":"calcium","value":430,"unit":"mg/L"`, false},
	} {
		rows, notes := mustRead(t, `{"time":"2027-03-01T07:00:00Z","type":"test","system":"s",`+c.fields+`}`)
		if got := len(notes) == 1 && notes[0].Line == 1 && strings.Contains(notes[0].Text, "unconfirmed"); len(rows) != 1 || got != c.noted {
			t.Errorf("%s: %d rows, notes %v; want 1 row, noted %v", c.fields, len(rows), notes, c.noted)
		}
		if b, ok := rows[0].Body.(machine.Test); !ok || b.Confirmed {
			t.Errorf("%s: %+v; want an unconfirmed test", c.fields, rows[0].Body)
		}
	}
}

func TestNotesOnWhatChangesLittle(t *testing.T) {
	for line, want := range map[string]string{
		`"type":"calibration","channel":"alk","trials":[{"seconds":60,"measured_ml":9},{"seconds":60,"measured_ml":10},{"seconds":60,"measured_ml":12}]`: "gives no rate",
		`"type":"water_change","system":"s","volume_l":1,"mix":{"alkalinity":{"value":80,"unit":"dKH"}}`:                                                 "implausible level of the mix",
		`"type":"release","until":"2027-03-02T07:00:00Z"`:                                                                                                "release has no end",
		`"type":"lockout","reason":"the pump sings"`:                                                                                                     "taken as fault",
		`"type":"accepted","reason":"ledger","channel":"alk"`:                                                                                            "covers the whole site",
		`"type":"out_of_service","system":"s","until":"2027-03-02T07:00:00Z"`:                                                                            "out_of_service has no end",
		`"type":"self_stop_proof","node":"plug","until":"2027-03-02T07:00:00Z"`:                                                                          "self_stop_proof has no end",
		`"type":"cleared","channel":"alk","reason":"fault","until":"2027-03-02T07:00:00Z"`:                                                               "cleared has no end",
	} {
		rows, notes := mustRead(t, `{"time":"2027-03-01T07:00:00Z",`+line+`}`)
		if len(rows) != 1 || len(notes) != 1 || !strings.Contains(notes[0].Text, want) {
			t.Errorf("%s: %d rows, notes %v; want 1 row and a note with %q", line, len(rows), notes, want)
		}
	}
}
