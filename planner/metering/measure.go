package metering

import (
	"errors"
	"fmt"
	"math"

	"aliquot/safety"
)

// Last is what a calibration is compared with. The zero value compares with nothing.
type Last struct {
	Rate   safety.Rate // the rate in use, or the nominal one; 0: none
	Trials []Trial     // what it came from; nil where it is no measured one
}

// Measure gives what trials say about a channel, by the better of two models. Where the runs' lengths differ enough
// for Regress, and the offset that it finds is real, volume = rate × seconds + offset. Otherwise volume = rate × seconds
// with Calibrate's rate: an offset that scatter explains would only move the error from one length of run to another.
//
// The offset is taken at its best estimate for what a run is meant to give, and at the upper end of its interval, at
// least 0, for what it may give at most. A line whose rate is known worse than the ordinary tolerance is provisional.
func Measure(trials []Trial, last Last) (Calibration, []Finding, error) {
	line, lineFindings, lineErr := Regress(trials)
	if lineErr != nil || !line.OffsetReal {
		return measureMean(trials, last, line, lineErr)
	}
	c := Calibration{Rate: line.Rate, Trials: len(trials), CV: line.Scatter(), Tolerance: safety.DefaultTolerance, Line: &line}
	var err error
	if c.Offset, c.RunsOn, err = line.booked(); err != nil {
		return Calibration{}, nil, fmt.Errorf("calibration: %w", err)
	}
	if !(line.RateHalfWidth <= line.Fit.Slope*60*float64(safety.DefaultTolerance)/1000+rounding) {
		c.Provisional, c.Tolerance = true, safety.ProvisionalTolerance
		lineFindings = append(lineFindings, Finding{FewTrials, fmt.Sprintf("the rate is known to ± %.1f %% only: provisional, taken as ±%g %%; more and longer runs are better",
			100*line.RateHalfWidth/(line.Fit.Slope*60), float64(c.Tolerance)/10)})
	}
	return c, append(lineFindings, c.compare(last)...), nil
}

// measureMean is Measure without an offset. line is what Regress gave, if it gave anything.
func measureMean(trials []Trial, last Last, line Regression, lineErr error) (Calibration, []Finding, error) {
	c, findings, err := Calibrate(trials, 0)
	if err != nil {
		if lineErr == nil { // the rates scatter, and no offset is sure enough to explain it
			err = fmt.Errorf("%w; or add trials of different lengths: an offset of %+.3g ± %.2g mL a run may be the cause", err, line.OffsetML, line.OffsetHalfWidth)
		}
		return Calibration{}, nil, err
	}
	if lineErr == nil {
		c.Line = &line
	}
	return c, append(findings, c.compare(last)...), nil
}

// booked rounds the offset to whole µL, and gives the most that it can be, rounded up.
func (r Regression) booked() (offset, runsOn safety.Microlitres, err error) {
	if !(math.Abs(r.OffsetML)+r.OffsetHalfWidth <= measuredMost) {
		return 0, 0, errors.New("the offset of the line is larger than any vessel")
	}
	offset = safety.Microlitres(math.Round(r.OffsetML * 1000))
	runsOn, err = safety.MillilitresUp(max(0, r.OffsetML+r.OffsetHalfWidth))
	return offset, max(runsOn, offset, 0), err
}

// compare sets a calibration against the last one: line against line where both have one, else rate against rate.
func (c *Calibration) compare(last Last) []Finding {
	if last.Rate <= 0 {
		return nil
	}
	c.Previous = last.Rate
	c.Change = float64(c.Rate)/float64(last.Rate) - 1
	c.NeedsConfirm = math.Abs(c.Change) > changeMost+rounding
	if c.Line != nil && len(last.Trials) > 0 {
		if before, _, err := Regress(last.Trials); err == nil {
			return Compare(*c.Line, before)
		}
	}
	return changeFindings(*c)
}
