package machine

import (
	"fmt"
	"sort"
	"strings"

	"aliquot/planner/assay"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// TestResult is the result of the request `test`.
type TestResult struct {
	Level        float64   `json:"level"`
	Unit         string    `json:"unit"`
	TemperatureC *float64  `json:"temperature_degc,omitempty"` // that the conversion rests on, where it does
	Expected     *float64  `json:"expected"`
	ExpectedSD   *float64  `json:"expected_sd"`
	Accepted     bool      `json:"accepted"`
	Suspicious   bool      `json:"suspicious"` // accepted, and may well be grossly wrong
	PlannedMLDay []Planned `json:"planned_ml_per_day"`
}

// Planned is a channel's daily volume, and what it was before the request.
type Planned struct {
	Channel        string  `json:"channel"`
	MLPerDay       float64 `json:"ml_per_day"`
	BeforeMLPerDay float64 `json:"before_ml_per_day"`
}

// askTest takes a measurement. A value that is plausible only in another unit is refused with a hint and never
// converted (H-28); one far from what was expected is held back until a second test agrees (H-29).
func (t *turn) askTest(q Request) reply {
	y, bad := t.theSystem(q.System)
	if bad != nil {
		return *bad
	}
	quantity := units.Quantity(strings.ToLower(q.Quantity))
	if quantity == "ph" {
		quantity = units.PH
	}
	if !quantity.Known() {
		return *unknownName("quantity", q.Quantity, quantityNames(y))
	}
	if q.Value == nil {
		return *no(safety.BadPayload, "value is missing")
	}
	water, celsius, bad := sampleOf(q)
	if bad != nil {
		return *bad
	}
	level, verdict, hint := assay.CheckEntry(quantity, *q.Value, q.Unit, water)
	switch {
	case verdict == units.Refused:
		return *refused(hint, "value")
	case verdict == units.NeedsConfirm && !q.Confirm:
		return *no(safety.NeedsConfirm, "%s; send it again with \"confirm\": true", hint)
	}
	taken, bad := t.happenedAt(q)
	if bad != nil {
		return *bad
	}
	switch q.Of {
	case "", "tank", "mix", "reference":
	default:
		return *no(safety.BadPayload, "of is %q; it can be tank, mix or reference", q.Of)
	}
	stated, bad := statedOf(q, quantity, level, water)
	if bad != nil {
		return *bad
	}
	before := t.following(y, quantity)
	row := Test{System: y.cfg.ID, Quantity: quantity, Level: level, Value: *q.Value, Unit: q.Unit, Taken: taken,
		SampleC: celsius, Method: q.Method, Lot: q.Lot, Of: q.Of, Confirmed: q.Confirm}
	if stated > 0 {
		row.Stated, row.StatedLevel = *q.Stated, stated
	}
	t.record(row, q.By)
	t.do(Count{Metric: MetricTests, Labels: [2]string{y.cfg.ID, string(quantity)}})
	t.tick()
	out := TestResult{Level: level, Unit: quantity.Unit(), Accepted: true, PlannedMLDay: []Planned{}}
	text := fmt.Sprintf("%s of %s: %.4g %s taken", quantity, y.cfg.ID, level, quantity.Unit())
	if assay.NeedsTemperature(quantity, q.Unit) {
		at := float64(water.Temperature)
		out.TemperatureC = &at
		text += fmt.Sprintf(" (%g %s at %.4g degC)", *q.Value, q.Unit, at)
		if celsius == nil {
			text += ", the temperature to which hobby meters compensate; if yours does not, send it again with the sample's"
		}
	}
	if age := t.wall().Sub(taken); age > lateTest {
		text += fmt.Sprintf("; the sample is %.3g days old, so that by itself it raises no dose for a day", age.Hours()/24)
	}
	return t.testReply(y, row, before, out, text)
}

// following gives the daily volumes of the channels that follow a quantity.
func (t *turn) following(y *systemState, quantity units.Quantity) []Planned {
	out := []Planned{}
	for _, i := range t.index.into[y.cfg.ID] {
		c := &t.channels[i]
		if c.follows() && c.cfg.Quantity == quantity {
			v := c.day.PerDay.Millilitres()
			out = append(out, Planned{c.cfg.ID, v, v})
		}
	}
	return out
}

// sampleOf is the water that a test was taken in, and its temperature where the request gives it.
func sampleOf(q Request) (assay.Water, *float64, *reply) {
	if q.SampleAt == nil {
		return assay.Ordinary(), nil, nil
	}
	w, err := assay.Sampled(q.SampleAt.Value, q.SampleAt.Unit)
	if err != nil {
		return w, nil, refused(err, "temperature")
	}
	celsius := float64(w.Temperature)
	return w, &celsius, nil
}

// z90 is how many standard deviations to each side of the mean 90 % of a normal distribution lie. A keeper is told this interval.
const z90 = 1.645

func (t *turn) testReply(y *systemState, row Test, before []Planned, out TestResult, text string) reply {
	quantity := row.Quantity
	switch row.Of {
	case "reference":
		return done(text+t.lotWords(row), out)
	case "mix":
		return done(text+"; it is kept, and says nothing about the tank", out)
	}
	if !y.has(quantity) {
		return done(text+"; no target is configured for it, so that nothing follows it", out)
	}
	counts, words := t.countsAs(row)
	text += words
	got := y.lastResult
	if got.Known {
		out.Expected, out.ExpectedSD = &got.Predicted, &got.PredictedSD
		text += fmt.Sprintf(", expected %.3g ± %.2g (90 %%)", units.Plain(got.Predicted), units.Plain(z90*got.PredictedSD))
	}
	out.PlannedMLDay = t.following(y, quantity)
	var volumes []string
	for i := range out.PlannedMLDay {
		p := &out.PlannedMLDay[i]
		p.BeforeMLPerDay = before[i].MLPerDay
		volumes = append(volumes, fmt.Sprintf("%s %.4g mL a day (before %.4g)", p.Channel, p.MLPerDay, p.BeforeMLPerDay))
	}
	if len(volumes) > 0 {
		text += "; now planned: " + strings.Join(volumes, ", ")
	}
	if got.Verdict == estimate.Held {
		out.Accepted = false
		return reply{code: safety.Unconfirmed, result: out,
			text: text + fmt.Sprintf(". That is %s what was expected, more than use and doses explain, so that it raises nothing until a second test agrees: look at the unit, the reagent and the sample, and please test again", apart(counts, got, quantity))}
	}
	if got.Gross > suspect {
		out.Suspicious = true
		text += ". It fits badly, may well be wrong and counts for less: please test again"
	}
	return done(text, out)
}

// apart says how far a test lies from its prediction, and to which side.
func apart(level float64, got estimate.Result, q units.Quantity) string {
	switch miss := level - got.Predicted; {
	case !got.Known:
		return "far from"
	case miss < 0:
		return fmt.Sprintf("%.3g %s below", units.Plain(-miss), q.Unit())
	default:
		return fmt.Sprintf("%.3g %s above", units.Plain(miss), q.Unit())
	}
}

// suspect is the probability of a gross error from which an accepted test is called suspicious. Our own choice.
const suspect = 0.3

func (y *systemState) has(q units.Quantity) bool {
	for _, g := range y.cfg.Targets {
		if g.Quantity == q {
			return true
		}
	}
	return false
}

func quantityNames(y *systemState) []string {
	var names []string
	for _, g := range y.cfg.Targets {
		names = append(names, string(g.Quantity))
	}
	for _, q := range units.Quantities() {
		if !y.has(q) && q != units.Switch {
			names = append(names, string(q))
		}
	}
	return names
}

// askWaterChange records that water was replaced by mix of known levels.
func (t *turn) askWaterChange(q Request) reply {
	y, bad := t.theSystem(q.System)
	if bad != nil {
		return *bad
	}
	if q.VolumeL == nil || !(*q.VolumeL > 0 && *q.VolumeL <= 2*y.cfg.NetLitres) {
		return *no(safety.OutOfRange, "volume_l must be above 0 and at most %g L, twice the system's net volume", 2*y.cfg.NetLitres)
	}
	taken, bad := t.happenedAt(q)
	if bad != nil {
		return *bad
	}
	row := WaterChange{System: y.cfg.ID, Taken: taken, Litres: *q.VolumeL}
	if q.Until != nil {
		row.Until = q.Until.UTC()
	}
	row.Mix, bad = mixLevels(q.Mix)
	if bad != nil {
		return *bad
	}
	t.record(row, q.By)
	t.tick()
	text := fmt.Sprintf("water change of %g L in %s taken", *q.VolumeL, y.cfg.ID)
	if len(row.Mix) == 0 {
		text += "; without the mix's levels the estimate becomes less sure: test again, or give them in \"mix\""
	}
	return done(text, nil)
}

// mixLevels checks what new water holds, in the order of the quantities' names.
func mixLevels(mix map[string]Measure) ([]Level, *reply) {
	names := make([]string, 0, len(mix))
	for name := range mix {
		names = append(names, name)
	}
	sort.Strings(names)
	var out []Level
	for _, name := range names {
		quantity, m := units.Quantity(name), mix[name]
		if !quantity.Known() {
			return nil, no(safety.UnknownName, "mix: there is no quantity %q", name)
		}
		level, verdict, hint := assay.CheckEntry(quantity, m.Value, m.Unit, assay.Ordinary())
		if verdict == units.Refused {
			return nil, refused(hint, "mix."+name)
		}
		out = append(out, Level{Quantity: quantity, Level: level})
	}
	return out, nil
}

var noteKinds = []string{"livestock_added", "livestock_removed", "medication", "lights_out", "salt_mix", "filter_media", "other"}

// askNote records something that makes the estimate less sure. It never raises dosing.
func (t *turn) askNote(q Request) reply {
	y, bad := t.theSystem(q.System)
	if bad != nil {
		return *bad
	}
	if !contains(noteKinds, q.Kind) {
		return *unknownName("kind of note", q.Kind, noteKinds)
	}
	t.record(Note{System: y.cfg.ID, Note: q.Kind, Text: q.Text}, q.By)
	return done(fmt.Sprintf("noted for %s; the estimates are less sure now, so test soon", y.cfg.ID), nil)
}
