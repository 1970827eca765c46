package topics

import (
	"fmt"
	"strings"

	"aliquot/bridge/topics/payload"
	"aliquot/planner/units"
	"aliquot/safety"
)

// ReadingSpec says how a probe's payload reads.
type ReadingSpec struct {
	Path    string // dotted path into a JSON payload; empty: the whole payload is the value
	On, Off string // for something that is on or off: the two texts; empty for a number
}

// Reading is one value of a probe, in the unit of its topic; on is 1 and off is 0.
type Reading struct {
	Value float64
	Text  string // what was found, for messages
}

// ParseReading reads a probe's payload: a plain number, a number or a number in quotes at a path of a JSON payload,
// or one of two words. The number is finite and has a point as decimal mark. On an error Text still shows what was
// found where it could be read; the error is *payload.Error.
func ParseReading(data []byte, s ReadingSpec) (Reading, error) {
	leaf, found, bad := payload.At(data, s.Path)
	if bad != nil {
		return Reading{}, bad
	}
	if !found {
		return Reading{}, &payload.Error{Code: safety.BadPayload, Text: fmt.Sprintf("there is nothing at %s in the payload", payload.Quote(s.Path))}
	}
	r := Reading{Text: strings.Trim(payload.Quote(leaf.Text), `"`)}
	if s.On != "" || s.Off != "" {
		return onOrOff(r, leaf, s)
	}
	if leaf.Kind != payload.KindNumber && leaf.Kind != payload.KindText {
		return r, &payload.Error{Code: safety.NotANumber, Text: fmt.Sprintf("the reading is %s: a number is needed", leaf.Text)}
	}
	v, err := units.ParseNumber(leaf.Text)
	if err != nil {
		return r, noNumber(leaf.Text)
	}
	r.Value = v
	return r, nil
}

func onOrOff(r Reading, leaf payload.Leaf, s ReadingSpec) (Reading, error) {
	switch strings.TrimSpace(leaf.Text) {
	case s.On:
		r.Value = 1
	case s.Off:
		r.Value = 0
	default:
		return r, &payload.Error{Code: safety.BadPayload, Text: fmt.Sprintf("the reading is %s: %q or %q was expected", payload.Quote(leaf.Text), s.On, s.Off)}
	}
	return r, nil
}

// noNumber explains what to send instead.
func noNumber(text string) *payload.Error {
	why := "a plain number with a point as decimal mark is needed, without a unit"
	switch bare := strings.TrimLeft(strings.ToLower(strings.TrimSpace(text)), "+-"); {
	case bare == "nan" || bare == "inf" || bare == "infinity":
		why = "that is no measurement"
	case bare == "":
		why = "it is empty"
	case strings.Contains(bare, ","):
		why = "use a point as decimal mark"
	}
	return &payload.Error{Code: safety.NotANumber, Text: fmt.Sprintf("the reading is %s: %s", payload.Quote(text), why)}
}
