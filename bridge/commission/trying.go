package commission

import (
	"fmt"
	"strings"
	"time"

	"aliquot/bridge/machine"
)

// cylinderML is the step to which a measuring cylinder is read (common practice: a tenth of 10 mL, halved by eye).
const cylinderML = 0.05

// workingML is the size of a dose as the plan gives it, mL, within what a run may be.
func (u Setup) workingML(f Facts) float64 {
	v := u.SmallestML
	if next := f.Channel.Next; next != nil {
		v = next.VolumeML
	} else if n := len(u.Slots); n > 0 && f.Channel.PlannedMLPerDay > 0 {
		v = f.Channel.PlannedMLPerDay / float64(n)
	}
	return min(max(v, u.SmallestML), u.PerRunML, u.AttendedML/(1+u.ToleranceShare))
}

func (s Session) workingML() float64 { return s.u.workingML(s.f) }

func (s Session) testOpening() []string {
	v := s.workingML()
	texts := []string{fmt.Sprintf("One run of %s mL, as the schedule gives it, into the cylinder: what is right over a long run may be wrong over a short one.", three(v))}
	if s.runSeconds(v) < 1 || v < 0.3 {
		texts = append(texts, "So small a run is inexact: below about 1 s or 0.3 mL a pump gives whole pulses. Fewer and larger runs are better (slots, smallest_run).")
	}
	return append(texts, s.inUse()...)
}

// inUse warns of the plan, which knows nothing of a vessel.
func (s Session) inUse() []string {
	n := s.f.Channel.Next
	if n == nil {
		return nil
	}
	return []string{fmt.Sprintf("The plan goes on meanwhile: its next run is at %s, %s mL, and goes to wherever the outlet hangs then. Have it back over the tank by then, or come back after it.", s.clock(n.At), three(n.VolumeML))}
}

// runSeconds is how long a run of so many mL takes, s.
func (s Session) runSeconds(ml float64) float64 {
	used, _ := s.used()
	if !(used > 0) {
		return 0
	}
	return ml / used * 60
}

// clock writes a time of day in the site's zone.
func (s Session) clock(at time.Time) string {
	return at.In(s.u.From.Location()).Format("15:04 (2 January)")
}

func (s Session) readTest(text string) (Session, Out, bool) {
	word := strings.ToLower(text)
	switch s.place {
	case atTest:
		if text != "" {
			return s.complaint("Press Enter to run it, or type q to leave.")
		}
		return s.send(atTest, machine.VerbRun, map[string]any{"channel": s.u.Channel, "kind": string(machine.TestRun), "volume_ml": s.workingML(), "into": "vessel"})
	case atTestRead:
		if word == "" {
			s.test = fmt.Sprintf("test run of %s mL not measured", three(s.ran.VolumeML))
			return s.tried("Not measured: then look closely at the first doses.")
		}
		return s.readTestVolume(text)
	}
	switch word {
	case "":
		return s.took(atTest)
	case "k":
		return s.tried("Kept as it is.")
	case "c":
		s.own[Calibration], s.own[TestRun] = openHere, openHere
		after, out := s.next(nil)
		return after, out, true
	}
	return s.complaint("Type Enter to run it again, c to calibrate again, or k to keep it as it is.")
}

func (s Session) readTestVolume(text string) (Session, Out, bool) {
	ml, err := volume(text)
	if err != nil {
		return s.complaint("What the cylinder shows, such as 1.95 mL, or Enter if it cannot be read: %s.", err)
	}
	if !(ml >= 0 && ml <= 1000) {
		return s.complaint("%s mL does not come out of such a run.", num(ml))
	}
	set := s.ran.VolumeML
	s.test = fmt.Sprintf("test run of %s mL gave %s mL", three(set), three(ml))
	tolerance := s.u.ToleranceShare
	if s.f.Channel.Provisional {
		tolerance *= 3
	}
	off := ml - set
	if abs(off) <= set*tolerance+cylinderML+1e-9 {
		return s.tried(fmt.Sprintf("%s mL of %s mL (%+.1f %%): good.", three(ml), three(set), 100*off/set))
	}
	why := "the line drains between runs (check valve, barbs), or it draws air"
	if off > 0 {
		why = "liquid runs on after the stop: a siphon, the outlet's height, or a slow relay"
	}
	return s.took(atTestOff, fmt.Sprintf("%s mL of %s mL (%+.1f %%), more than the %.0f %% that are counted on. Perhaps %s. Trials of two lengths, one twice the other, tell what every run gives besides.",
		three(ml), three(set), 100*off/set, 100*tolerance, why))
}

func (s Session) tried(text string) (Session, Out, bool) {
	s.own[TestRun] = doneHere
	after, out := s.next(say(text, "Empty the vessel, and put the outlet back where it belongs, above the water, in strong flow."))
	return after, out, true
}

func (s Session) readAgree(text string) (Session, Out, bool) {
	if strings.ToLower(text) != "yes" {
		return s.complaint("Type yes to agree. If it is not what you want, q leaves; change the configuration, start the service again, and come back.")
	}
	record := s.agreed()
	if s.test != "" {
		record += "; " + s.test
	}
	return s.send(atAgree, machine.VerbAccept, map[string]any{"what": machine.Commissioned, "channel": s.u.Channel, "text": cut(record, 500)})
}

// cut keeps what fits into the record.
func cut(text string, most int) string {
	if r := []rune(text); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return text
}
