package commission

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

func (s Session) calibrationOpening() []string {
	return []string{
		"The line must hang as it will run: same height, same end. Outlet over a measuring cylinder or a vessel on a scale.",
		fmt.Sprintf("%d trials or more, each into an emptied (or tared) vessel. Enter what was measured, not what was wished for.", trialsLeast),
	}
}

// trialSeconds is a length of run that a cylinder reads well and that the caps allow: about 10 mL (common practice),
// in whole seconds, 5 to 120.
func (s Session) trialSeconds() float64 {
	if s.trials.seconds > 0 {
		return s.trials.seconds
	}
	used, _ := s.used()
	booked := used
	if s.f.Channel.RateMLPerMin == nil {
		booked = 2 * used // what the service books before the first calibration
	}
	if !(used > 0) {
		return 20
	}
	most := s.u.AttendedML / (1 + s.u.ToleranceShare) / booked * 60
	seconds := math.Floor(min(max(10/used*60, 5), 120, most))
	if s.u.AutoOff > 0 {
		seconds = min(seconds, s.u.AutoOff.Seconds())
	}
	return max(1, seconds)
}

func (s Session) readCalibration(text string) (Session, Out, bool) {
	switch s.place {
	case atVessel:
		switch strings.ToLower(text) {
		case "c":
			s.trials.scale = false
			return s.took(atTrial)
		case "s":
			s.trials.scale = true
			return s.took(atWeighed)
		}
		return s.complaint("Type c for a cylinder or s for a scale.")
	case atWeighed:
		return s.readLiquidWeighed(text)
	case atTrial:
		return s.readTrial(text)
	case atMeasured:
		return s.readMeasured(text)
	}
	return s.readSheet(text)
}

func (s Session) readLiquidWeighed(text string) (Session, Out, bool) {
	if d, err := units.ParseDensity(text); err == nil {
		s.trials.liquid = metering.Liquid{DensityKgPerL: &d}
	} else if t, err := units.ParseTemperature(text); err == nil {
		s.trials.liquid = metering.Liquid{WaterCelsius: &t}
	} else {
		return s.complaint("Type the temperature of the plain water, such as 21degC, or the density of the solution, such as 1.05kg/L.")
	}
	probe := []metering.Reading{{Seconds: 60, MeasuredG: 10}}
	if _, err := metering.TrialsOf(probe, s.trials.liquid); err != nil {
		return s.complaint("%s.", err)
	}
	if len(s.trials.readings) > 0 {
		s.place = atTrials
		return s, s.line(s.sheet()), true
	}
	return s.took(atTrial)
}

func (s Session) readTrial(text string) (Session, Out, bool) {
	if text != "" {
		d, err := units.ParseDuration(text)
		seconds := d.Seconds()
		if plain, bad := units.ParseNumber(text); bad == nil {
			seconds, err = plain, nil
		}
		if err != nil {
			return s.complaint("Enter, or a time such as 20s: %s.", err)
		}
		if !(seconds > 0 && seconds <= safety.RunMax.Seconds()) {
			return s.complaint("%s s is not above 0 and at most %s s.", num(seconds), num(safety.RunMax.Seconds()))
		}
		s.trials.seconds = seconds
	}
	return s.send(atTrial, machine.VerbCalibrate, map[string]any{"channel": s.u.Channel, "seconds": s.trialSeconds(), "into": "vessel"})
}

func (s Session) readMeasured(text string) (Session, Out, bool) {
	if strings.EqualFold(text, "x") {
		s.place = atTrial
		if len(s.trials.readings) > 0 && s.redo == 0 {
			s.place = atTrials
		}
		return s, s.line(say("That trial does not count.")), true
	}
	r := metering.Reading{Seconds: s.ran.Seconds}
	if s.trials.scale {
		g, err := grams(text)
		if err != nil {
			return s.complaint("What the scale shows, such as 10.2 g: %s.", err)
		}
		r.MeasuredG = g
	} else {
		ml, err := volume(text)
		if err != nil {
			return s.complaint("What the cylinder shows, such as 9.8 mL: %s.", err)
		}
		r.MeasuredML = ml
	}
	if !(r.MeasuredML > 0 || r.MeasuredG > 0) {
		return s.complaint("Nothing came? Then type x: this trial does not count. Look at the outlet, and prime again if need be.")
	}
	l := s.trials.liquid
	if !s.trials.scale {
		l = metering.Liquid{}
	}
	one, err := metering.TrialsOf([]metering.Reading{r}, l)
	if err == nil {
		_, _, err = metering.Calibrate(one, 0)
	}
	if err != nil {
		return s.complaint("%s.", err)
	}
	s.trials, s.redo = s.trials.with(r, s.redo), 0
	return s.keep()
}

// keep has the service remember the trials, so that a session that ends without a word loses none.
func (s Session) keep() (Session, Out, bool) {
	return s.send(atTrials, machine.VerbAccept, map[string]any{"what": machine.Trials, "channel": s.u.Channel, "text": strings.TrimSpace(s.trials.flags())})
}

func grams(text string) (g float64, err error) {
	if v, plain := units.ParseNumber(text); plain == nil {
		return v, nil
	}
	return units.ParseMass(text)
}

func (s Session) readSheet(text string) (Session, Out, bool) {
	n := len(s.trials.readings)
	word := strings.ToLower(text)
	if word == "" && n < trialsLeast {
		word = "m"
	}
	if which, ok := strings.CutPrefix(word, "r"); ok {
		i, err := strconv.Atoi(strings.TrimSpace(which))
		if err != nil || i < 1 || i > n {
			return s.complaint("Which trial? r 1 to r %d.", n)
		}
		s.redo = i
		return s.took(atTrial, fmt.Sprintf("Trial %d once more.", i))
	}
	switch word {
	case "m":
		s.redo = 0
		return s.took(s.measuring())
	case "":
		return s.enter()
	}
	return s.complaint("Type m for one more, r and a number to redo one, or Enter.")
}

// measuring is where the next trial begins: what was taken over from an earlier session may not say how it is read.
func (s Session) measuring() place {
	if s.trials.scale && s.trials.liquid == (metering.Liquid{}) {
		return atWeighed
	}
	return atTrial
}

// enter sends the trials.
func (s Session) enter() (Session, Out, bool) {
	if _, err := s.trials.trials(); err != nil {
		return s.took(atWeighed, fmt.Sprintf("Not yet: %s.", err))
	}
	list := make([]map[string]any, len(s.trials.readings))
	for i, r := range s.trials.readings {
		list[i] = map[string]any{"seconds": r.Seconds}
		if r.MeasuredG != 0 {
			list[i]["measured_g"] = r.MeasuredG
		} else {
			list[i]["measured_ml"] = r.MeasuredML
		}
	}
	fields := map[string]any{"channel": s.u.Channel, "trials": list}
	if l := s.trials.liquid; s.trials.weighed() {
		if l.DensityKgPerL != nil {
			fields["density_kg_per_l"] = *l.DensityKgPerL
		} else if l.WaterCelsius != nil {
			fields["water_celsius"] = *l.WaterCelsius
		}
	}
	return s.send(atTrials, machine.VerbCalibrate, fields)
}
