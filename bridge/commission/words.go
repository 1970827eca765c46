package commission

import (
	"fmt"
	"strconv"
	"strings"

	"aliquot/bridge/machine"
)

// width is that of the narrowest terminal that has to do.
const width = 78

// wrap breaks a text into lines of at most width characters, with a margin before each.
func wrap(margin, text string) []string {
	var out []string
	line := margin
	for _, word := range strings.Fields(text) {
		if len([]rune(line))+1+len([]rune(word)) > width && line != margin {
			out = append(out, line)
			line = margin
		}
		if line != margin {
			line += " "
		}
		line += word
	}
	if line != margin {
		out = append(out, line)
	}
	return out
}

// say wraps texts, one after the other.
func say(texts ...string) []string {
	var out []string
	for _, t := range texts {
		if t == "" {
			out = append(out, "")
			continue
		}
		out = append(out, wrap("  ", t)...)
	}
	return out
}

func headline(s Step) []string {
	titles := [...]string{"Placement", "Contents", "Direction and self-stop", "Priming", "Calibration", "Test run", "The day, and your word for it"}
	text := fmt.Sprintf("%d of %d  %s", int(s)+1, len(titles), titles[s])
	return []string{"", text, strings.Repeat("-", len(text))}
}

// command is what does a step without the session, one command a line.
func (u Setup) command(s Step, f Facts) string {
	switch s {
	case Placement:
		return fmt.Sprintf("aliquot ask accept what=placement channel=%s text='what you looked at'", u.Channel)
	case Contents:
		return fmt.Sprintf("aliquot refill %s --remaining 2L", u.Container)
	case Turning:
		if u.Style == machine.Switch {
			return "aliquot prove " + u.Node
		}
		return fmt.Sprintf("aliquot ask prime channel=%s seconds=%d into=vessel", u.Channel, turnSeconds)
	case Priming:
		return fmt.Sprintf("aliquot prime %s --into vessel\naliquot primed %s", u.Channel, u.Channel)
	case Calibration:
		return fmt.Sprintf("aliquot calibrate %s --for 60s\naliquot calibrate %s --trial 60s=9.8mL --trial 60s=9.9mL --trial …", u.Channel, u.Channel)
	case TestRun:
		return fmt.Sprintf("aliquot ask run channel=%s kind=test volume_ml=%s into=vessel", u.Channel, num(u.workingML(f)))
	case Handover:
		return fmt.Sprintf("aliquot ask accept what=commissioned channel=%s text='what you agree to'", u.Channel)
	}
	return ""
}

// byHand shows the commands whole: a broken line could not be copied.
func byHand(u Setup, s Step, f Facts) []string {
	lines := []string{"  By hand:"}
	for _, c := range strings.Split(u.command(s, f), "\n") {
		lines = append(lines, "    "+c)
	}
	return lines
}

// sentence makes one of what another package says in passing.
func sentence(text string) string {
	r := []rune(text)
	if len(r) == 0 {
		return ""
	}
	return strings.ToUpper(string(r[:1])) + strings.TrimRight(string(r[1:]), ".") + "."
}

// num writes a measure with at most three decimals.
func num(v float64) string {
	text := strconv.FormatFloat(v+0, 'f', 3, 64) // no minus before a zero
	return strings.TrimRight(strings.TrimRight(text, "0"), ".")
}

// three writes a measure with three significant digits, never as a power of ten.
func three(v float64) string {
	digits := 0
	for x := abs(v); x < 100 && digits < 6; x *= 10 {
		digits++
	}
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

func abs(v float64) float64 {
	if v < 0 {
		return -v
	}
	return v
}
