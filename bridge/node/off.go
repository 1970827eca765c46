package node

import (
	"regexp"
	"strconv"
	"strings"

	"aliquot/bridge/machine"
)

// offs reads a payload on a switch's command topic that is not an echo of ours, and gives an event for each output
// that it tells to go off; none if it says anything else. A command to stop everything sends such payloads with a
// number of its own. An off only helps, so that it is no foreign command; what could be read as an on is no off.
func (c *Codec) offs(e entry, data []byte) (events []machine.Event) {
	for _, i := range e.outputs {
		output := c.outputs[i].number
		if c.off.reads(string(data), output) && !c.on.reads(string(data), output) {
			events = append(events, machine.CommandSeen{Node: c.spec.ID, Output: output, Stop: true})
		}
	}
	return events
}

// patterns are what the fields of a template can read like.
var patterns = map[string]string{fieldSerial: `[0-9]{1,19}`, fieldRun: `[0-9A-Za-z*_-]{1,64}`, fieldSeconds: `[0-9.]{1,24}`, fieldMillis: `[0-9]{1,19}`,
	fieldMillilitres: `[0-9.]{1,24}`, fieldExpires: `[0-9TZ:.+-]{1,40}`}

// reads says whether a text is what the template renders for an output, whatever its other fields are.
func (t template) reads(text string, output int) bool {
	var b strings.Builder
	for _, s := range t {
		switch s.field {
		case "":
			b.WriteString(regexp.QuoteMeta(s.text))
		case fieldOutput:
			b.WriteString(strconv.Itoa(output))
		default:
			b.WriteString(patterns[s.field])
		}
	}
	whole, err := regexp.Compile(`^(?:` + b.String() + `)$`)
	return err == nil && whole.MatchString(text)
}
