package notify

import (
	"slices"
	"time"

	"aliquot/bridge/machine"
)

// State says why a message comes.
type State string

// States of a message.
const (
	Raised   State = "raised"
	Standing State = "standing" // raised before, and nobody has acknowledged it
	Cleared  State = "cleared"
	Test     State = "test" // nothing is wrong: the way works
)

// Message is what a way carries, as JSON.
type Message struct {
	V         int       `json:"v"` // of this form: 1
	Site      string    `json:"site"`
	Alert     string    `json:"alert"`
	Level     string    `json:"level"` // critical, warning, note
	State     State     `json:"state"`
	At        time.Time `json:"at"`    // when this was put down; it may arrive much later
	Since     time.Time `json:"since"` // when the alert was raised or cleared
	Text      string    `json:"text"`
	Reminders int       `json:"reminders"`
}

// testAlert is the name under which test messages go; no alert has it.
const testAlert = "test"

// TestMessage is one that says that a way works.
func TestMessage(site, text string, at time.Time) Message {
	return Message{V: 1, Site: site, Alert: testAlert, Level: machine.Notice, State: Test, At: at.UTC(), Since: at.UTC(), Text: text}
}

// levels in the order of their weight.
var levels = []string{machine.Notice, machine.Warning, machine.Critical}

// weight orders levels; one that is not known weighs most, so that it is told.
func weight(level string) int {
	if i := slices.Index(levels, level); i >= 0 {
		return i
	}
	return len(levels)
}

// news says whether an alert is worth a message to a way that was told of last before, and of levels from least on.
// known is false if it was never told of the alert.
func news(last machine.AlertView, known bool, now machine.AlertView, least string) (State, bool) {
	told := known && last.Raised
	switch {
	case !now.Raised:
		return Cleared, told
	case now.Acknowledged, !told && weight(now.Level) < weight(least):
		return "", false
	case !told, last.Level != now.Level:
		return Raised, true
	}
	return Standing, last.Acknowledged || now.Reminders > last.Reminders
}
