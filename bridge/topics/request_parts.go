package topics

import (
	"fmt"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics/payload"
	"aliquot/safety"
)

// readMix reads quantity -> {"value", "unit"}.
func readMix(o payload.Object) (map[string]machine.Measure, *payload.Error) {
	mix, there, bad := o.Object("mix")
	if bad != nil || !there {
		return nil, bad
	}
	if n := len(mix.Names()); n < 1 || n > maxMix {
		return nil, malformed(`"mix" has %d quantities; 1 to %d are allowed`, n, maxMix)
	}
	out := map[string]machine.Measure{}
	for _, quantity := range mix.Names() {
		if n := len([]rune(quantity)); n < 1 || n > maxName || !payload.Printable(quantity) {
			return nil, malformed(`"mix" has a quantity %s, which is no name`, payload.Quote(quantity))
		}
		at := "mix." + quantity
		inner, there, bad := mix.Object(quantity)
		if bad != nil {
			return nil, bad
		}
		if !there {
			return nil, malformed(`%s is empty: say {"value":8.0,"unit":"dKH"}, or leave it out`, payload.Quote(at))
		}
		m, bad := readMeasure(at, inner)
		if bad != nil {
			return nil, bad
		}
		out[quantity] = m
	}
	return out, nil
}

func readMeasure(at string, o payload.Object) (m machine.Measure, bad *payload.Error) {
	if bad := onlyFields(at, o, "value", "unit"); bad != nil {
		return m, bad
	}
	value, bad := o.Number("value")
	if bad != nil {
		return m, inside(at, bad)
	}
	unit, bad := o.Text("unit", maxName)
	if bad != nil {
		return m, inside(at, bad)
	}
	if value == nil {
		return m, malformed(`%s has no "value"`, payload.Quote(at))
	}
	if unit == "" {
		return m, &payload.Error{Code: safety.MissingUnit, Text: payload.Quote(at) + ` has no "unit": units are never guessed`}
	}
	return machine.Measure{Value: *value, Unit: unit}, nil
}

// readTrials reads a list of {"seconds", "measured_ml"} or {"seconds", "measured_g"}.
func readTrials(o payload.Object) ([]machine.Trial, *payload.Error) {
	list, bad := o.Objects("trials", maxTrials)
	if bad != nil {
		return nil, bad
	}
	var out []machine.Trial
	for i, inner := range list {
		at := fmt.Sprintf("trials.%d", i)
		k, bad := readTrial(at, inner)
		if bad != nil {
			return nil, bad
		}
		out = append(out, k)
	}
	return out, nil
}

func readTrial(at string, o payload.Object) (k machine.Trial, bad *payload.Error) {
	if bad := onlyFields(at, o, "seconds", "measured_ml", "measured_g"); bad != nil {
		return machine.Trial{}, bad
	}
	var given [3]*float64
	for i, name := range []string{"seconds", "measured_ml", "measured_g"} {
		if given[i], bad = o.Number(name); bad != nil {
			return machine.Trial{}, inside(at, bad)
		}
		if given[i] != nil && *given[i] == 0 {
			return machine.Trial{}, &payload.Error{Code: safety.OutOfRange, Text: fmt.Sprintf("%s: %q is 0; it must be above 0", payload.Quote(at), name)}
		}
	}
	if given[0] == nil || (given[1] == nil) == (given[2] == nil) {
		return machine.Trial{}, malformed(`%s needs "seconds", and either "measured_ml" or "measured_g"`, payload.Quote(at))
	}
	k.Seconds = *given[0]
	if given[1] != nil {
		k.MeasuredML = *given[1]
	} else {
		k.MeasuredG = *given[2]
	}
	return k, nil
}

// readMeasureOf reads one {"value", "unit"}.
func readMeasureOf(name string, o payload.Object) (*machine.Measure, *payload.Error) {
	inner, there, bad := o.Object(name)
	if bad != nil || !there {
		return nil, bad
	}
	m, bad := readMeasure(name, inner)
	if bad != nil {
		return nil, bad
	}
	return &m, nil
}

func onlyFields(at string, o payload.Object, allowed ...string) *payload.Error {
	for _, name := range o.Names() {
		if !contains(allowed, name) {
			return malformed("%s has a field %s%s; it takes %s", payload.Quote(at), payload.Quote(name), suggest(name, allowed), strings.Join(allowed, ", "))
		}
	}
	return nil
}

func malformed(format string, args ...any) *payload.Error {
	return &payload.Error{Code: safety.BadPayload, Text: fmt.Sprintf(format, args...)}
}

func inside(at string, bad *payload.Error) *payload.Error {
	return &payload.Error{Code: bad.Code, Text: payload.Quote(at) + ": " + bad.Text}
}
