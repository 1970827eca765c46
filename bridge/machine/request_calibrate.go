package machine

import (
	"errors"
	"fmt"
	"math"

	"aliquot/planner/metering"
	"aliquot/safety"
)

// CalibrationResult is the result of the request `calibrate` with trials. The half widths belong to 95 % confidence;
// they and what they belong to are null where the lengths of the runs do not tell rate and offset apart.
type CalibrationResult struct {
	RateMLPerMin      float64        `json:"rate_ml_per_min"`
	RateHalfWidth     *float64       `json:"rate_half_width_ml_per_min"`
	OffsetML          float64        `json:"offset_ml"` // in use: 0 where none is sure
	FoundOffsetML     *float64       `json:"found_offset_ml"`
	OffsetHalfWidthML *float64       `json:"offset_half_width_ml"`
	GoodFromML        *float64       `json:"good_from_ml"` // from this volume on a run is good to goodShare
	Trials            int            `json:"trials"`
	CVPercent         float64        `json:"cv_percent"`
	TolerancePercent  float64        `json:"tolerance_percent"`
	ChangePercent     *float64       `json:"change_percent"` // against the last calibration, or the nominal rate
	Provisional       bool           `json:"provisional"`
	Findings          []TrialFinding `json:"findings"`
}

// TrialFinding is something that a person should know about a calibration.
type TrialFinding struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
}

// askCalibrate runs into a vessel (seconds), or takes what runs delivered (trials).
func (t *turn) askCalibrate(q Request) reply {
	if len(q.Trials) == 0 {
		if q.DensityKgL != nil || q.WaterC != nil {
			return *no(safety.BadPayload, "density_kg_per_l and water_celsius go with trials in g")
		}
		if q.Into == "" {
			q.Into = string(IntoVessel)
		}
		return t.attendedRun(q, Calibrate)
	}
	c, bad := t.theChannel(q.Channel)
	if bad != nil {
		return *bad
	}
	trials, bad := readTrials(q)
	if bad != nil {
		return *bad
	}
	k, findings, err := metering.Measure(trials, metering.Last{Rate: c.presentRate(), Trials: c.trials})
	if err != nil {
		return *no(safety.OutOfRange, "%s", err)
	}
	if k.NeedsConfirm && !q.Confirm {
		return *no(safety.NeedsConfirm, "channel %s would go from %.3g to %.3g mL/min (%+.0f %%)%s; if that is right send it again with \"confirm\": true",
			c.cfg.ID, k.Previous.MillilitresPerMinute(), k.Rate.MillilitresPerMinute(), 100*k.Change, joined(slips(findings)))
	}
	t.record(calibrationOf(c.cfg.ID, trials, k), q.By)
	text := fmt.Sprintf("channel %s delivers %s", c.cfg.ID, rateText(k)) + goodFromText(k, c.cfg.Limits.SmallestRun) + joined(findings)
	if largest := c.cfg.Limits.PerRun; k.Offset >= largest {
		text += fmt.Sprintf("; each run gives per_run (%s) or more by that alone: nothing will be dosed", largest)
	}
	out := calibrationResult(k, findings)
	if k.Provisional {
		return reply{code: safety.Provisional, text: text, result: out}
	}
	return done(text, out)
}

// readTrials converts what was weighed; what is recorded is always mL.
func readTrials(q Request) ([]metering.Trial, *reply) {
	readings := make([]metering.Reading, len(q.Trials))
	for i, k := range q.Trials {
		readings[i] = metering.Reading(k)
	}
	trials, err := metering.TrialsOf(readings, metering.Liquid{DensityKgPerL: q.DensityKgL, WaterCelsius: q.WaterC})
	switch {
	case errors.Is(err, metering.ErrLiquid):
		return nil, no(safety.BadPayload, "%s", err)
	case err != nil:
		return nil, no(safety.OutOfRange, "%s", err)
	}
	return trials, nil
}

// rateText says what trials gave, with how sure it is.
func rateText(k metering.Calibration) string {
	text := fmt.Sprintf("%.4g mL/min", k.Rate.MillilitresPerMinute())
	if k.Offset != 0 {
		text += fmt.Sprintf(" (± %.2g) and %+.3g mL (± %.2g) each run", rounded(k.Line.RateHalfWidth), k.Offset.Millilitres(), rounded(k.Line.OffsetHalfWidth))
	}
	text += fmt.Sprintf(" (%d trials, CV %.1f %%)", k.Trials, 100*k.CV)
	if k.Offset == 0 && k.Line != nil {
		text += fmt.Sprintf("; an offset of %+.2g mL (± %.2g) each run is not sure and not used", rounded(k.Line.OffsetML), rounded(k.Line.OffsetHalfWidth))
	}
	return text
}

// goodShare is how good a run ought to be: what is dosed in a day is known about as well from a hobby test. Our own choice.
const goodShare = 0.1

// goodFrom is the volume from which on a run is good to goodShare, mL; ok is false where the trials do not tell.
func goodFrom(k metering.Calibration) (ml float64, ok bool) {
	if k.Line == nil {
		return 0, false
	}
	ml, err := k.Line.SmallestRun(goodShare, k.Offset != 0)
	return rounded(ml), err == nil
}

// goodFromText speaks of it where the channel may be asked for smaller runs.
func goodFromText(k metering.Calibration, smallest safety.Microlitres) string {
	ml, ok := goodFrom(k)
	if !ok || ml <= smallest.Millilitres() {
		return ""
	}
	return fmt.Sprintf("; runs are good to ±%g %% from %.2g mL on, and smallest_run is %s: fewer slots make larger runs", 100*goodShare, ml, smallest)
}

// slips are the findings that make a large change look like a mistake in what was entered.
func slips(findings []metering.Finding) []metering.Finding {
	return without(findings, func(f metering.Finding) bool { return f.Kind != metering.UnitSlip })
}

func joined(findings []metering.Finding) string {
	text := ""
	for _, f := range findings {
		text += "; " + f.Text
	}
	return text
}

func calibrationResult(k metering.Calibration, findings []metering.Finding) CalibrationResult {
	out := CalibrationResult{RateMLPerMin: k.Rate.MillilitresPerMinute(), OffsetML: k.Offset.Millilitres(), Trials: k.Trials, CVPercent: rounded(100 * k.CV),
		TolerancePercent: float64(k.Tolerance) / 10, Provisional: k.Provisional, Findings: []TrialFinding{}}
	if k.Previous > 0 {
		change := 100 * k.Change
		out.ChangePercent = &change
	}
	if l := k.Line; l != nil {
		found, half, rate := rounded(l.OffsetML), rounded(l.OffsetHalfWidth), rounded(l.RateHalfWidth)
		out.FoundOffsetML, out.OffsetHalfWidthML = &found, &half
		if k.Offset != 0 {
			out.RateHalfWidth = &rate
		}
		if from, ok := goodFrom(k); ok {
			out.GoodFromML = &from
		}
	}
	for _, f := range findings {
		out.Findings = append(out.Findings, TrialFinding{string(f.Kind), f.Text})
	}
	return out
}

// rounded drops what the arithmetic leaves of trials that lie on a line exactly.
func rounded(x float64) float64 { return math.Round(x*1e6)/1e6 + 0 }
