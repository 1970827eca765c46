package discovery

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// system announces one body of water and its quantities.
func (b *builder) system(y machine.SystemView, quantities []machine.QuantityView) {
	b.on("system", y.ID)
	state := b.a.Layout.State("system", y.ID)
	two := 2
	b.holdSwitch("Hold", state, map[string]any{"system": y.ID})
	b.add(sensor, "aragonite", config{Name: "Aragonite saturation", StateClass: "measurement", Precision: &two, Category: "diagnostic", Icon: "mdi:chart-bell-curve", StateTopic: state, ValueTemplate: "{{ value_json.aragonite_saturation }}"})
	for _, q := range quantities {
		if q.System == y.ID {
			b.quantity(q)
		}
	}
}

func (b *builder) quantity(q machine.QuantityView) {
	state := b.a.Layout.State("quantity", q.System, q.Quantity)
	what, name := word(q.Quantity), strings.ToUpper(q.Quantity[:1])+q.Quantity[1:]
	level := digits(q.Target)
	use := level + 1
	b.add(sensor, what+"_level", config{Name: name + " level", Unit: q.Unit, StateClass: "measurement", Precision: &level, Icon: "mdi:test-tube", StateTopic: state, AttributesTopic: state, ValueTemplate: "{{ value_json.level }}"})
	b.add(sensor, what+"_use", config{Name: name + " use", Unit: q.Unit + "/d", StateClass: "measurement", Precision: &use, Icon: "mdi:trending-down", StateTopic: state, ValueTemplate: "{{ value_json.consumption_per_day }}"})
	b.add(sensor, what+"_next_test", moment(config{Name: name + " next test"}, state, "value_json.next_test", "value_json.next_test"))
	for _, e := range b.a.Entries {
		if e.System == q.System && string(e.Quantity) == q.Quantity {
			b.entry(e, what, name, state)
		}
	}
}

// digits shows a level of this size to about four digits.
func digits(target float64) int {
	switch {
	case target >= 100:
		return 0
	case target >= 10:
		return 1
	case target >= 1:
		return 2
	}
	return 3
}

// entry announces the field in which a test is entered, in the keeper's own unit. It shows the last test that was
// accepted: one that was refused does not stay in it, and the last answer says why.
func (b *builder) entry(e Entry, what, name, state string) {
	least, most, ok := units.EntryRange(e.Quantity)
	if !ok {
		return
	}
	line, err := lineOf(e)
	if err != nil {
		return // not a unit of the quantity: the configuration does not let it come so far
	}
	low, high := line.at(least), line.at(most)
	step := math.Max(math.Pow10(-digits(line.at(least/2+most/2))-1), 0.001)
	request := fixed(map[string]any{"system": e.System, "quantity": string(e.Quantity), "unit": e.Unit, "value": mark})
	b.add(number, what+"_test", config{Name: name + " test", Icon: "mdi:test-tube", Unit: e.Unit, Mode: "box", Min: &low, Max: &high, Step: &step,
		StateTopic: state, ValueTemplate: line.template("value_json.last_value"),
		CommandTopic: b.a.Layout.Ask(machine.VerbTest), CommandTemplate: strings.Replace(once(request), strconv.Quote(mark), "{{ value }}", 1)})
}

const mark = "the value"

// once makes a template of a request with an open reference: the time makes each one a request of its own, but the
// same one if a broker brings it twice.
func once(request string) string {
	return strings.Replace(request, `"dashboard-`+machine.OpenRef+`"`, `"dashboard-{{ now().timestamp() }}"`, 1)
}

// line converts from a canonical unit.
type line struct{ factor, offset float64 }

func lineOf(e Entry) (line, error) {
	zero, err := units.FromCanonical(e.Quantity, 0, e.Unit)
	if err != nil {
		return line{}, err
	}
	one, err := units.FromCanonical(e.Quantity, 1, e.Unit)
	return line{one - zero, zero}, err
}

// at rounds to three digits behind the point: more is in no field.
func (l line) at(canonical float64) float64 {
	return math.Round(1000*(canonical*l.factor+l.offset)) / 1000
}

// template shows a field that may be null.
func (l line) template(field string) string {
	if l.factor == 1 && l.offset == 0 {
		return "{{ " + field + " }}"
	}
	sum := fmt.Sprintf("%s * %s", field, strconv.FormatFloat(l.factor, 'g', 10, 64))
	if l.offset != 0 {
		sum += " + " + strconv.FormatFloat(l.offset, 'g', 10, 64)
	}
	return "{{ ((" + sum + ") | round(3)) if " + field + " is not none else none }}"
}
