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

// ParseReading reads a probe's payload: a plain number, a number or a number in quotes at a path of a JSON payload, or
// one of two words, of which on is 1 and off is 0. The number is finite, in the unit of its topic, and has a point as
// decimal mark. The error is *payload.Error.
func ParseReading(data []byte, s ReadingSpec) (float64, error) {
	leaf, found, bad := payload.At(data, s.Path)
	if bad != nil {
		return 0, bad
	}
	if !found {
		return 0, &payload.Error{Code: safety.BadPayload, Text: fmt.Sprintf("there is nothing at %s in the payload", payload.Quote(s.Path))}
	}
	if s.On != "" || s.Off != "" {
		return onOrOff(leaf, s)
	}
	if leaf.Kind != payload.KindNumber && leaf.Kind != payload.KindText {
		return 0, &payload.Error{Code: safety.NotANumber, Text: fmt.Sprintf("the reading is %s: a number is needed", leaf.Text)}
	}
	v, err := units.ParseNumber(leaf.Text)
	if err != nil {
		return 0, noNumber(leaf.Text)
	}
	return v, nil
}

func onOrOff(leaf payload.Leaf, s ReadingSpec) (float64, error) {
	switch strings.TrimSpace(leaf.Text) {
	case s.On:
		return 1, nil
	case s.Off:
		return 0, nil
	}
	return 0, &payload.Error{Code: safety.BadPayload, Text: fmt.Sprintf("the reading is %s: %q or %q was expected", payload.Quote(leaf.Text), s.On, s.Off)}
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
