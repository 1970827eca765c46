package history

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

// encoder writes one line at a time. What it gives is overwritten by the next line.
type encoder struct {
	b    []byte
	unit string // of the next probe line
	err  error
}

// encodable says whether there is a line type for what a row says. Runs of the ledger's own are joined to a
// RunPast first.
func encodable(b machine.Body) bool {
	switch b := b.(type) {
	case machine.RunPast, machine.Test, machine.Calibration, machine.Primed, machine.Tube, machine.Refill, machine.Swap,
		machine.WaterChange, machine.SalinityCorrection, machine.Hold, machine.Release, machine.OutOfService,
		machine.Proof, machine.Accepted, machine.ProbeMean, machine.Note:
		return true
	case machine.Lockout:
		return b.Scope.Interlock == "" && b.Scope.Supply == ""
	case machine.Cleared:
		return b.Scope.Interlock == "" && b.Scope.Supply == ""
	}
	return false
}

// happened is the time that a row's line carries: when the thing itself was, which may lie before its record.
func happened(r machine.Row) time.Time {
	at := time.Time{}
	switch b := r.Body.(type) {
	case machine.RunPast:
		at = b.Happened
	case machine.Test:
		at = b.Taken
	case machine.WaterChange:
		at = b.Taken
	case machine.ProbeMean:
		at = b.Until
	}
	if at.IsZero() {
		at = r.At
	}
	return at.UTC()
}

// recorded is when a reader of the line will take the thing to have become known.
func recorded(r machine.Row) time.Time {
	at := happened(r)
	if _, ok := r.Body.(machine.Test); ok && r.At.After(at) {
		return r.At
	}
	return at
}

// line writes a row without its id.
func (e *encoder) line(r machine.Row) ([]byte, error) {
	r.ID = ""
	return e.lineWithID(r)
}

func (e *encoder) lineWithID(r machine.Row) ([]byte, error) {
	e.b, e.err = append(e.b[:0], '{'), nil
	at := happened(r)
	e.time(fTime, at)
	e.text(fType, typeOf(r.Body))
	if known := recorded(r); known.After(at) {
		e.time(fEntered, known)
	}
	e.body(r.Body)
	e.text(fID, r.ID)
	e.text(fBy, r.By)
	e.b = append(e.b, '}')
	return e.b, e.err
}

// typeOf names the type of a row's line.
func typeOf(b machine.Body) string {
	if _, ok := b.(machine.RunPast); ok {
		return "run"
	}
	return b.Kind()
}

func (e *encoder) body(body machine.Body) {
	switch b := body.(type) {
	case machine.RunPast:
		e.run(b)
	case machine.Test:
		e.test(b)
	case machine.Calibration:
		e.text(fChannel, b.Channel)
		e.trials(b.Trials)
	case machine.Primed:
		e.text(fChannel, b.Channel)
	case machine.Tube:
		e.text(fChannel, b.Channel)
	case machine.Refill:
		e.text(fContainer, b.Container)
		e.thousandths(fVolumeML, int64(b.Added))
		if b.Remaining != nil {
			e.thousandths(fRemainingML, int64(*b.Remaining))
		}
	case machine.Swap:
		e.text(fContainer, b.Container)
		e.text(fSupplement, b.Supplement)
		e.thousandths(fVolumeML, int64(b.Remaining))
	case machine.WaterChange:
		e.waterChange(b)
	case machine.SalinityCorrection:
		e.salinityCorrection(b)
	case machine.ProbeMean:
		e.text(fProbe, b.Probe)
		e.number(fValue, b.Mean)
		e.text(fUnit, e.unit)
	case machine.Note:
		e.text(fSystem, b.System)
		e.text(fKind, b.Note)
		e.text(fText, b.Text)
	default:
		e.standing(body)
	}
}

// standing writes what holds until something ends it.
func (e *encoder) standing(body machine.Body) {
	switch b := body.(type) {
	case machine.Hold:
		e.scope(b.Scope)
		e.text(fReason, b.Reason)
		e.time(fUntil, b.Until)
	case machine.Release:
		e.scope(b.Scope)
	case machine.OutOfService:
		e.scope(b.Scope)
		e.text(fReason, b.Reason)
	case machine.Lockout:
		e.scope(b.Scope)
		e.text(fReason, reasonText(b.Code, b.Text))
	case machine.Cleared:
		e.scope(b.Scope)
		e.text(fReason, string(b.Code))
	case machine.Proof:
		e.text(fChannel, b.Channel)
		e.text(fNode, b.Node)
	case machine.Accepted:
		if b.Channel == "" {
			e.text(fReason, b.What)
			break
		}
		e.text(fChannel, b.Channel)
		e.text(fReason, b.What+": "+b.Text)
	default:
		e.err = fmt.Errorf("a row of kind %q has no line type", body.Kind())
	}
}

// reasonText is what reasonOf splits.
func reasonText(code safety.Code, text string) string {
	if text == "" {
		return string(code)
	}
	return string(code) + ": " + text
}

func (e *encoder) scope(s machine.Scope) {
	e.text(fSystem, s.System)
	e.text(fChannel, s.Channel)
}

func (e *encoder) run(b machine.RunPast) {
	e.text(fChannel, b.Channel)
	e.thousandths(fVolumeML, int64(b.Volume))
	e.text(fOutcome, string(b.Outcome))
	if b.Duration > 0 {
		e.thousandths(fSeconds, int64(b.Duration))
	}
	if b.Delivered != nil {
		e.thousandths(fDeliveredML, int64(*b.Delivered))
	}
	if b.Purpose != machine.Dose {
		e.text(fPurpose, string(b.Purpose))
	}
	if b.Into != machine.IntoTank {
		e.text(fInto, string(b.Into))
	}
}

func (e *encoder) test(b machine.Test) {
	e.text(fSystem, b.System)
	e.text(fQuantity, string(b.Quantity))
	e.number(fValue, b.Value)
	unit := b.Unit
	if unit == "" {
		unit = b.Quantity.Unit() // pH may be entered without one
	}
	e.text(fUnit, unit)
	if b.SampleC != nil {
		e.key(fTemperature)
		e.measure(*b.SampleC, units.Temperature.Unit())
	}
	if b.Of != "tank" {
		e.text(fOf, b.Of)
	}
	e.text(fMethod, b.Method)
	e.text(fLot, b.Lot)
	if b.Stated > 0 {
		e.number(fStated, b.Stated)
	}
}

func (e *encoder) waterChange(b machine.WaterChange) {
	e.text(fSystem, b.System)
	e.number(fVolumeL, b.Litres)
	if b.Until.After(b.Taken) {
		e.time(fUntil, b.Until)
	}
	if len(b.Mix) == 0 {
		return
	}
	e.key(fMix)
	for i, l := range b.Mix {
		e.b = append(e.b, "{,"[min(i, 1)])
		e.quoted(string(l.Quantity))
		e.b = append(e.b, ':')
		e.measure(l.Level, l.Quantity.Unit())
	}
	e.b = append(e.b, '}')
}

func (e *encoder) measure(value float64, unit string) {
	e.b = append(e.b, `{"value":`...)
	e.float(value)
	e.b = append(e.b, `,"unit":`...)
	e.quoted(unit)
	e.b = append(e.b, '}')
}

func (e *encoder) salinityCorrection(b machine.SalinityCorrection) {
	e.text(fSystem, b.System)
	if b.Level != nil {
		e.number(fValue, *b.Level)
		e.text(fUnit, "psu")
		return
	}
	e.number(fVolumeL, b.Litres)
}

func (e *encoder) trials(list []metering.Trial) {
	e.key(fTrials)
	e.b = append(e.b, '[')
	for i, t := range list {
		if i > 0 {
			e.b = append(e.b, ',')
		}
		e.b = append(e.b, `{"seconds":`...)
		e.float(t.Seconds)
		e.b = append(e.b, `,"measured_ml":`...)
		e.float(t.MeasuredML)
		e.b = append(e.b, '}')
	}
	e.b = append(e.b, ']')
}

func (e *encoder) key(f field) {
	if len(e.b) > 1 {
		e.b = append(e.b, ',')
	}
	e.b = append(append(append(e.b, '"'), fieldNames[f]...), `":`...)
}

// text writes a text, or nothing if it is empty.
func (e *encoder) text(f field, s string) {
	if s != "" {
		e.key(f)
		e.quoted(s)
	}
}

func (e *encoder) time(f field, t time.Time) {
	t = t.UTC()
	if y := t.Year(); y < firstYear || y > lastYear {
		e.err = fmt.Errorf("%s is outside the years %d to %d", fieldNames[f], firstYear, lastYear)
	}
	e.key(f)
	e.b = append(t.AppendFormat(append(e.b, '"'), time.RFC3339Nano), '"')
}

func (e *encoder) number(f field, v float64) {
	e.key(f)
	e.float(v)
}

// float writes the shortest form that reads back as the same number.
func (e *encoder) float(v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		e.err = fmt.Errorf("%v is no number that a line can carry", v)
	}
	format := byte('f')
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e21) {
		format = 'e'
	}
	e.b = strconv.AppendFloat(e.b, v+0, format, -1, 64)
}

// thousandths writes µL as mL, or ms as seconds, exactly.
func (e *encoder) thousandths(f field, v int64) {
	e.key(f)
	if v < 0 {
		e.err = fmt.Errorf("%s is below 0", fieldNames[f])
	}
	e.b = strconv.AppendInt(e.b, v/1000, 10)
	if rest := v % 1000; rest > 0 {
		digits := strconv.AppendInt(nil, 1000+rest, 10)
		digits[0] = '.'
		e.b = append(e.b, bytes.TrimRight(digits, "0")...)
	}
}

func (e *encoder) quoted(s string) {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c == '"' || c == '\\' || c >= 0x7f {
			e.escaped(s)
			return
		}
	}
	e.b = append(append(append(e.b, '"'), s...), '"')
}

func (e *encoder) escaped(s string) {
	var b strings.Builder
	j := json.NewEncoder(&b)
	j.SetEscapeHTML(false)
	if err := j.Encode(s); err != nil {
		e.err = err
	}
	e.b = append(e.b, strings.TrimSuffix(b.String(), "\n")...)
}
