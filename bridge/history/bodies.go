package history

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/planner/assay"
	"aliquot/planner/estimate"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

// microlitres reads a volume of 0 or more. round is the side on which a fraction of a µL may err.
func microlitres(l *line, f field, round func(float64) (safety.Microlitres, error)) (safety.Microlitres, error) {
	v, err := round(l.number(f))
	if err != nil {
		return 0, fmt.Errorf("%s: %w", fieldNames[f], err)
	}
	return v, nil
}

// milliseconds reads a running time of 0 or more, rounded up to whole ms.
func milliseconds(l *line, f field) (safety.Milliseconds, error) {
	const most = 1e9
	s := l.number(f)
	if !(s >= 0 && s <= most) {
		return 0, fmt.Errorf("%s: %v s is not a number from 0 to %g", fieldNames[f], s, most)
	}
	thousandths, err := safety.MillilitresUp(s) // the same rounding to thousandths, with its care for binary fractions
	return safety.Milliseconds(thousandths), err
}

// positive refuses 0 for what cannot be 0.
func positive(l *line, f field) error {
	if v := l.number(f); !(v > 0) {
		return fmt.Errorf("%s is %v, must be above 0", fieldNames[f], v)
	}
	return nil
}

// choice checks a word of a closed list.
func choice(l *line, f field, allowed ...string) error {
	if w := l.text(f); l.has.has(f) && !slices.Contains(allowed, w) {
		return fmt.Errorf("%s is %.40q, must be %s", fieldNames[f], w, strings.Join(allowed, ", "))
	}
	return nil
}

func (r *reader) test(l *line) (machine.Body, error) {
	if err := choice(l, fOf, "tank", "mix", "reference"); err != nil {
		return nil, err
	}
	q := units.Quantity(r.name(l.text(fQuantity)))
	water, celsius, err := sampleOf(l)
	if err != nil {
		return nil, err
	}
	level, _, err := assay.ToCanonical(q, l.number(fValue), l.text(fUnit), water)
	if err != nil {
		return nil, fmt.Errorf("value: %w", err)
	}
	if _, verdict, hint := assay.CheckEntry(q, l.number(fValue), l.text(fUnit), water); verdict != units.Accepted {
		r.remark("implausible test, taken as unconfirmed: " + hint.Error())
	}
	t := machine.Test{System: r.name(l.text(fSystem)), Quantity: q, Level: level, Value: l.number(fValue), Unit: r.name(l.text(fUnit)),
		Taken: l.time, SampleC: celsius, Method: r.name(l.text(fMethod)), Lot: r.name(l.text(fLot)), Of: r.name(l.text(fOf))}
	if t.Of == "tank" {
		t.Of = ""
	}
	if l.has.has(fStated) {
		if t.Of != "reference" || !(l.number(fStated) > 0) {
			return nil, errors.New("stated is what a reference solution has: it goes with of reference, and is above 0")
		}
		t.Stated = l.number(fStated)
		if t.StatedLevel, _, err = assay.ToCanonical(q, t.Stated, l.text(fUnit), water); err != nil {
			return nil, fmt.Errorf("stated: %w", err)
		}
		if !estimate.Credible(q, t.Level-t.StatedLevel) {
			r.remark("a reading of a reference solution is too far off what is stated to be the bias of a lot; it is passed over")
		}
	}
	if l.has.has(fEntered) && l.entered.Before(l.time) {
		return nil, errors.New("entered lies before time, which is when the sample was taken")
	}
	return t, nil
}

// sampleOf is the water that a test was taken in: that of the trade's meters where the line gives no temperature.
func sampleOf(l *line) (assay.Water, *float64, error) {
	if !l.has.has(fTemperature) {
		return assay.Ordinary(), nil, nil
	}
	w, err := assay.Sampled(l.temperature.value, l.temperature.unit)
	if err != nil {
		return w, nil, fmt.Errorf("temperature: %w", err)
	}
	celsius := float64(w.Temperature)
	return w, &celsius, nil
}

func (r *reader) run(l *line) (machine.Body, error) {
	err := cmp.Or(positive(l, fVolumeML),
		choice(l, fOutcome, string(machine.Finished), string(machine.Partial), string(machine.Unknown), string(machine.NotSent)),
		choice(l, fPurpose, string(machine.Dose), string(machine.Prime), string(machine.Calibrate), string(machine.Manual), string(machine.TestRun)),
		choice(l, fInto, string(machine.IntoTank), string(machine.IntoVessel)))
	if err != nil {
		return nil, err
	}
	b := machine.RunPast{Channel: r.name(l.text(fChannel)), Happened: l.time, Purpose: machine.Dose, Into: machine.IntoTank,
		Outcome: machine.Outcome(r.name(l.text(fOutcome)))}
	if l.has.has(fPurpose) {
		b.Purpose = machine.Purpose(r.name(l.text(fPurpose)))
	}
	if l.has.has(fInto) {
		b.Into = machine.Into(r.name(l.text(fInto)))
	}
	if b.Volume, err = microlitres(l, fVolumeML, safety.MillilitresUp); err != nil {
		return nil, err
	}
	if b.Duration, err = milliseconds(l, fSeconds); err != nil {
		return nil, err
	}
	return r.delivered(l, b)
}

func (r *reader) delivered(l *line, b machine.RunPast) (machine.Body, error) {
	if !l.has.has(fDeliveredML) {
		if b.Outcome == machine.Partial {
			return nil, errors.New("a partial run needs delivered_ml")
		}
		return b, nil
	}
	if b.Outcome != machine.Finished && b.Outcome != machine.Partial {
		return nil, fmt.Errorf("a run whose outcome is %s has no delivered_ml", b.Outcome)
	}
	v, err := microlitres(l, fDeliveredML, safety.MillilitresUp)
	b.Delivered = &v
	return b, err
}

func (r *reader) calibration(l *line) (machine.Body, error) {
	if len(l.trials) == 0 {
		return nil, errors.New("trials is empty: give at least one, three are better")
	}
	for i, t := range l.trials {
		if !(t.Seconds > 0 && t.MeasuredML > 0) {
			return nil, fmt.Errorf("trial %d: seconds and measured_ml must both be given and above 0", i+1)
		}
	}
	if _, _, err := metering.Measure(l.trials, metering.Last{}); err != nil {
		r.remark("this calibration gives no rate: " + err.Error())
	}
	return machine.Calibration{Channel: r.name(l.text(fChannel)), Trials: l.trials}, nil
}

func (r *reader) primed(l *line) (machine.Body, error) {
	return machine.Primed{Channel: r.name(l.text(fChannel))}, nil
}

func (r *reader) tube(l *line) (machine.Body, error) {
	return machine.Tube{Channel: r.name(l.text(fChannel))}, nil
}

// Volumes put into a container are rounded down, so that less is thought to be there.
func (r *reader) refill(l *line) (machine.Body, error) {
	added, err := microlitres(l, fVolumeML, safety.MillilitresDown)
	if err != nil {
		return nil, err
	}
	b := machine.Refill{Container: r.name(l.text(fContainer)), Added: added}
	if l.has.has(fRemainingML) {
		rest, err := microlitres(l, fRemainingML, safety.MillilitresDown)
		if err != nil {
			return nil, err
		}
		b.Remaining = &rest
	}
	return b, nil
}

func (r *reader) swap(l *line) (machine.Body, error) {
	holds := fVolumeML
	if _, err := microlitres(l, fVolumeML, safety.MillilitresDown); err != nil {
		return nil, err
	}
	if l.has.has(fRemainingML) {
		holds = fRemainingML
	}
	rest, err := microlitres(l, holds, safety.MillilitresDown)
	return machine.Swap{Container: r.name(l.text(fContainer)), Supplement: r.name(l.text(fSupplement)), Remaining: rest}, err
}

func (r *reader) waterChange(l *line) (machine.Body, error) {
	if err := positive(l, fVolumeL); err != nil {
		return nil, err
	}
	if l.has.has(fUntil) && !l.until.After(l.time) {
		return nil, errors.New("until does not lie after time")
	}
	b := machine.WaterChange{System: r.name(l.text(fSystem)), Taken: l.time, Until: l.until, Litres: l.number(fVolumeL)}
	for _, m := range l.mix {
		q := units.Quantity(r.name(m.quantity))
		level, _, err := assay.ToCanonical(q, m.value, m.unit, assay.Ordinary())
		if err != nil {
			return nil, fmt.Errorf("mix: %s: %w", m.quantity, err)
		}
		if _, verdict, hint := assay.CheckEntry(q, m.value, m.unit, assay.Ordinary()); verdict != units.Accepted {
			r.remark("implausible level of the mix: " + hint.Error())
		}
		b.Mix = append(b.Mix, machine.Level{Quantity: q, Level: level})
	}
	slices.SortFunc(b.Mix, func(a, b machine.Level) int { return strings.Compare(string(a.Quantity), string(b.Quantity)) })
	return b, nil
}

func (r *reader) salinityCorrection(l *line) (machine.Body, error) {
	b := machine.SalinityCorrection{System: r.name(l.text(fSystem)), Litres: l.number(fVolumeL)}
	switch byLevel := l.has.has(fValue) || l.has.has(fUnit); {
	case byLevel == l.has.has(fVolumeL):
		return nil, errors.New("salinity_correction needs either volume_l, or value and unit")
	case !byLevel && b.Litres == 0:
		return nil, errors.New("volume_l is 0: give the fresh water added (above 0) or removed (below 0)")
	case !byLevel:
		return b, nil
	case !l.has.has(fValue):
		return nil, errors.New("salinity_correction needs value beside unit")
	}
	level, _, err := assay.ToCanonical(units.Salinity, l.number(fValue), l.text(fUnit), assay.Ordinary())
	if err != nil {
		return nil, fmt.Errorf("value: %w", err)
	}
	b.Level = &level
	return b, nil
}

// probe takes the mean of a batch of readings. A line says no quantity: the site knows it, or the unit tells it.
func (r *reader) probe(l *line) (machine.Body, error) {
	id := r.name(l.text(fProbe))
	mean, unit, err := r.probeLevel(id, l.number(fValue), l.text(fUnit))
	if err != nil {
		return nil, fmt.Errorf("value: %w", err)
	}
	r.encoder.unit = unit
	return machine.ProbeMean{Probe: id, From: l.time, Until: l.time, Mean: mean, Count: 1}, nil
}

func (r *reader) probeLevel(id string, value float64, unit string) (level float64, canonical string, err error) {
	if q := r.site.quantity(id); q == units.Switch || (q == "" && unit == switchUnit) {
		if unit != switchUnit || !(value >= 0 && value <= 1) {
			return 0, "", fmt.Errorf("a switch's mean is 0 to 1 with the unit %q", switchUnit)
		}
		return value, switchUnit, nil
	} else if q != "" {
		level, err = units.ToCanonical(q, value, unit)
		return level, q.Unit(), err
	}
	return levelByUnit(value, unit)
}

// switchUnit is what stands in the place of a unit for probes that are on or off.
const switchUnit = "switch"

// levelByUnit converts by the unit alone. Where quantities differ in what it means, as mmol/L does, it asks for
// another one.
func levelByUnit(value float64, unit string) (level float64, canonical string, err error) {
	found := false
	for _, q := range units.Quantities() {
		v, convErr := units.ToCanonical(q, value, unit)
		switch {
		case convErr != nil:
			err = convErr
		case found && (v != level || q.Unit() != canonical):
			return 0, "", fmt.Errorf("%.40q means different things for different quantities: use mg/L, dKH or the like", unit)
		default:
			level, canonical, found = v, q.Unit(), true
		}
	}
	if found {
		return level, canonical, nil
	}
	if err != nil {
		err = fmt.Errorf("%.40q is no unit of any quantity, or the value is no number", unit)
	}
	return 0, "", err
}
