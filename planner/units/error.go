package units

// Reason classifies an Error for callers that answer with a code. The words are those of the closed list
// of answer codes.
type Reason string

// Reasons of an Error.
const (
	MissingUnit Reason = "missing_unit"
	WrongUnit   Reason = "wrong_unit"   // unknown, ambiguous, or of another kind of measure
	NotANumber  Reason = "not_a_number" // no number, not finite, decimal comma
	OutOfRange  Reason = "out_of_range"
)

// Error says what was found, what is allowed and what to do. It carries no place: the caller knows the file,
// line or topic and puts it in front.
type Error struct {
	Reason  Reason
	Found   string // a clause: `"5 kg" is no volume`
	Allowed string // a list or range with its unit; may be empty
	Hint    string // what to do; may be empty
}

// Error reads as one sentence without a full stop.
func (e *Error) Error() string {
	s := e.Found
	if e.Allowed != "" {
		s += " (allowed: " + e.Allowed + ")"
	}
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}
