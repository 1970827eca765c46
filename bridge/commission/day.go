package commission

import (
	"fmt"
	"strings"
	"time"
)

const cells = 48 // half hours of a day

// day shows the schedule as a picture, and what the channel can do at most.
func (s Session) day() []string {
	var at [cells]int
	for _, slot := range s.u.Slots {
		if i := int(slot.Sub(s.u.From) / (24 * time.Hour / cells)); i >= 0 && i < cells {
			at[i]++
		}
	}
	strip := ""
	for _, n := range at {
		switch {
		case n == 0:
			strip += "."
		case n < 10:
			strip += fmt.Sprint(n)
		default:
			strip += "+"
		}
	}
	v := s.f.Channel
	lines := say(s.u.From.Format("Monday 2 January (MST)"), "Each sign is half an hour; a figure is how many runs it may have.")
	lines = append(lines, "    0     3     6     9     12    15    18    21    24", "    "+strip+"|")
	planned := "nothing is planned yet"
	if v.PlannedMLPerDay > 0 {
		planned = fmt.Sprintf("planned are %s mL a day", three(v.PlannedMLPerDay))
	}
	lines = append(lines, say(fmt.Sprintf("%s today; %s; in any 24 h at most %s mL (per_day), in one run at most %s mL (per_run).", slots(len(s.u.Slots)), planned, three(s.u.PerDayML), three(s.u.PerRunML)))...)
	if v.Next != nil {
		lines = append(lines, say(fmt.Sprintf("Next: %s mL at %s.", three(v.Next.VolumeML), s.clock(v.Next.At)))...)
	}
	for _, b := range v.Withheld {
		lines = append(lines, say(fmt.Sprintf("It waits: %s (%s).", b.Text, b.Code))...)
	}
	lines = append(lines, "")
	lines = append(lines, say("The largest effect in a day, if everything that per_day allows were given:")...)
	for _, e := range s.u.Effects {
		lines = append(lines, "    "+e.text())
	}
	return lines
}

func slots(n int) string {
	if n == 1 {
		return "1 slot"
	}
	return fmt.Sprintf("%d slots", n)
}

// text is one line of effect: what the cap allows, and what else bounds it.
func (e Effect) text() string {
	sign := "+"
	if e.AtCap < 0 {
		sign = "-"
	}
	text := fmt.Sprintf("%-12s %s%s %s a day", e.Quantity, sign, three(abs(e.AtCap)), e.Unit)
	var more []string
	if e.MaxDose > 0 {
		more = append(more, fmt.Sprintf("max_dose %s", three(e.MaxDose)))
	}
	if e.MaxRise > 0 {
		more = append(more, fmt.Sprintf("max_rise %s", three(e.MaxRise)))
	}
	if len(more) > 0 {
		text += "  (" + strings.Join(more, ", ") + ")"
	}
	return text
}

// agreed is what the record says of the handover.
func (s Session) agreed() string {
	text := fmt.Sprintf("planned %s mL a day in %s, at most %s mL a day", three(s.f.Channel.PlannedMLPerDay), slots(len(s.u.Slots)), three(s.u.PerDayML))
	for _, e := range s.u.Effects {
		sign := "+"
		if e.AtCap < 0 {
			sign = "-"
		}
		text += fmt.Sprintf(", %s %s%s %s", e.Quantity, sign, three(abs(e.AtCap)), e.Unit)
	}
	return text
}

// farewell ends a session in which everything is done.
func (s Session) farewell() []string {
	lines := append([]string{""}, say(fmt.Sprintf("Channel %s is commissioned.", s.u.Channel))...)
	for _, b := range s.f.Channel.Withheld {
		lines = append(lines, say(fmt.Sprintf("It still waits: %s (%s).", b.Text, b.Code))...)
	}
	return append(lines, say(fmt.Sprintf("Calibrate again in one to three months, after new tubing, and when the container empties early or late: aliquot commission %s --again calibration", s.u.Channel))...)
}
