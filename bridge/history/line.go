package history

import (
	"errors"
	"fmt"
	"math/bits"
	"strings"
	"time"
	"unicode/utf8"

	"aliquot/planner/metering"
)

// field is one name that a line may have.
type field int

// The fields in the order in which they are written and listed. Texts, numbers, times and nested values stand
// apart, so that each kind has its own array.
const (
	fTime field = iota
	fEntered
	fUntil
	fType
	fID
	fBy
	fSystem
	fChannel
	fNode
	fContainer
	fSupplement
	fProbe
	fQuantity
	fUnit
	fOf
	fMethod
	fLot
	fOutcome
	fPurpose
	fInto
	fKind
	fReason
	fText
	fValue
	fStated
	fVolumeML
	fRemainingML
	fSeconds
	fDeliveredML
	fVolumeL
	fTrials
	fMix
	fTemperature
	fields

	firstText, firstNumber, firstNested = fType, fValue, fTrials
)

var fieldNames = [fields]string{"time", "entered", "until", "type", "id", "by", "system", "channel", "node", "container",
	"supplement", "probe", "quantity", "unit", "of", "method", "lot", "outcome", "purpose", "into", "kind", "reason", "text",
	"value", "stated", "volume_ml", "remaining_ml", "seconds", "delivered_ml", "volume_l", "trials", "mix", "temperature"}

var fieldsByName = func() map[string]field {
	m := make(map[string]field, fields)
	for f, name := range fieldNames {
		m[name] = field(f)
	}
	return m
}()

// fieldNamed finds a field. Most lines have the names of the line before, in the same order: the field that
// followed last is tried first.
func (p *parser) fieldNamed(name string) (field, bool) {
	if f := p.next[p.last]; fieldNames[f] == name {
		p.last = f
		return f, true
	}
	f, ok := fieldsByName[name]
	if ok {
		p.next[p.last], p.last = f, f
	}
	return f, ok
}

type fieldSet uint64

func setOf(list ...field) fieldSet {
	var s fieldSet
	for _, f := range list {
		s |= 1 << f
	}
	return s
}

func (s fieldSet) has(f field) bool { return s&(1<<f) != 0 }

func (s fieldSet) first() field { return field(bits.TrailingZeros64(uint64(s))) }

func (s fieldSet) String() string {
	var names []string
	for ; s != 0; s &= s - 1 {
		names = append(names, fieldNames[s.first()])
	}
	return strings.Join(names, ", ")
}

// measure is a value with the unit it was given in.
type measure struct {
	quantity string
	value    float64
	unit     string
}

// line is one line as it was written, before its type gives it a meaning.
type line struct {
	has                  fieldSet
	time, entered, until time.Time
	texts                [firstNumber - firstText]string
	numbers              [firstNested - firstNumber]float64
	trials               []metering.Trial
	mix                  []measure
	temperature          measure
}

func (l *line) text(f field) string    { return l.texts[f-firstText] }
func (l *line) number(f field) float64 { return l.numbers[f-firstNumber] }

// parser reads lines. Its line is overwritten by the next one.
type parser struct {
	scan
	line
	member func(string) error // p.set, bound once
	last   field              // the latest of this line
	next   [fields + 1]field  // what followed each field when it was last seen; at the end, what began a line
}

func newParser() *parser {
	p := &parser{}
	p.member = p.set
	return p
}

// parse reads one line into p.line.
func (p *parser) parse(s string) error {
	p.scan, p.line, p.last = scan{s: s}, line{}, fields
	if !utf8.ValidString(s) {
		return errors.New("not a JSON object: the line is not UTF-8")
	}
	if err := p.object(p.member); err != nil {
		return err
	}
	if p.peek() != 0 || p.i != len(p.s) {
		return p.fault("the end of the line")
	}
	for _, f := range []field{fTime, fType} {
		if !p.has.has(f) {
			return fmt.Errorf("%s is missing", fieldNames[f])
		}
	}
	return nil
}

func (p *parser) set(name string) error {
	f, ok := p.fieldNamed(name)
	if !ok {
		return fmt.Errorf("unknown field %.40q", name)
	}
	if p.has.has(f) {
		return fmt.Errorf("%s stands twice", name)
	}
	p.has |= 1 << f
	if err := p.value(f); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

func (p *parser) value(f field) (err error) {
	switch {
	case f == fTrials:
		return p.takeTrials()
	case f == fMix:
		return p.takeMix()
	case f == fTemperature:
		p.temperature, err = p.takeMeasure("temperature")
		return err
	case f >= firstNumber:
		p.numbers[f-firstNumber], err = p.takeNumber()
		return err
	case f >= firstText:
		text, err := p.takeText()
		if err == nil && text == "" {
			err = errors.New("is empty: leave it out")
		}
		p.texts[f-firstText] = text
		return err
	case f == fTime:
		p.time, err = p.takeTime()
	case f == fEntered:
		p.entered, err = p.takeTime()
	case f == fUntil:
		p.until, err = p.takeTime()
	}
	return err
}

// firstYear and lastYear bound the times that are read. Nothing earlier can have been recorded by a clock that
// counts from 1970, and RFC 3339 ends with the year 9999.
const firstYear, lastYear = 1970, 9999

func (p *parser) takeTime() (time.Time, error) {
	s, err := p.takeText()
	if err != nil {
		return time.Time{}, err
	}
	return parseTime(s)
}

// parseTime reads RFC 3339, which allows t and z in lower case, and gives UTC.
func parseTime(s string) (time.Time, error) {
	upper := s
	t, err := time.Parse(time.RFC3339, upper)
	if err != nil {
		upper = strings.ToUpper(s)
		t, err = time.Parse(time.RFC3339, upper)
	}
	if err != nil || !strictTime(upper) {
		return time.Time{}, fmt.Errorf("%.40q is no time in RFC 3339: write it as in 2027-03-01T07:00:00Z", s)
	}
	t = t.UTC()
	if y := t.Year(); y < firstYear || y > lastYear {
		return time.Time{}, fmt.Errorf("%s is outside the years %d to %d", s, firstYear, lastYear)
	}
	return t, nil
}

// strictTime refuses what time.Parse takes beyond RFC 3339: an hour of one digit, a decimal comma, and offsets of
// 24 hours or 60 minutes. s has passed it.
func strictTime(s string) bool {
	const colon, second = len("2027-03-01T07"), len("2027-03-01T07:00:00")
	if s[colon] != ':' || s[second] == ',' {
		return false
	}
	if strings.HasSuffix(s, "Z") {
		return true
	}
	offset := s[len(s)-len("07:00"):]
	return offset[:2] < "24" && offset[3:] < "60"
}

func (p *parser) takeTrials() error {
	return p.array(func() error {
		var t metering.Trial
		seen := map[string]bool{}
		err := p.object(func(name string) (err error) {
			if seen[name] {
				return fmt.Errorf("%s stands twice in a trial", name)
			}
			seen[name] = true
			switch name {
			case "seconds":
				t.Seconds, err = p.takeNumber()
			case "measured_ml":
				t.MeasuredML, err = p.takeNumber()
			default:
				err = fmt.Errorf("unknown field %.40q in a trial: it has seconds and measured_ml", name)
			}
			return err
		})
		p.trials = append(p.trials, t)
		return err
	})
}

// mixMost is far above the count of quantities that there are; each name is compared with all before it.
const mixMost = 100

func (p *parser) takeMix() error {
	return p.object(func(quantity string) error {
		if len(p.mix) == mixMost {
			return fmt.Errorf("more than %d quantities", mixMost)
		}
		for _, other := range p.mix {
			if other.quantity == quantity {
				return fmt.Errorf("%s stands twice", quantity)
			}
		}
		m, err := p.takeMeasure(quantity)
		p.mix = append(p.mix, m)
		return err
	})
}

// takeMeasure takes {"value", "unit"}.
func (p *parser) takeMeasure(of string) (measure, error) {
	m := measure{quantity: of}
	seen := map[string]bool{}
	err := p.object(func(name string) (err error) {
		if seen[name] {
			return fmt.Errorf("%s stands twice in %s", name, of)
		}
		seen[name] = true
		switch name {
		case "value":
			m.value, err = p.takeNumber()
		case "unit":
			m.unit, err = p.takeText()
		default:
			err = fmt.Errorf("unknown field %.40q in %s: it has value and unit", name, of)
		}
		return err
	})
	if err == nil && !seen["value"] {
		err = fmt.Errorf("%s has no value", of)
	}
	return m, err
}
