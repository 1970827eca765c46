package machine

import (
	"strconv"
	"strings"
	"time"

	"aliquot/safety"
)

// Nearly all rows of a long ledger are runs that were begun and ended, and means of probes. As EncodeBody writes them they are
// read without the parser, which takes several times as long.

// plainBody reads such a body. It says no to whatever is not written in just that way, whether right or wrong: the parser
// decides about that. Where it says yes the body is the one that the parser gives.
func plainBody(kind, text string) (Body, bool) {
	p := plain{rest: text}
	var b Body
	switch kind {
	case "run_reserved":
		b = p.runReserved()
	case "run_ended":
		b = p.runEnded()
	case "probe":
		b = p.probeMean()
	default:
		return nil, false
	}
	if p.odd || len(p.rest) > 0 {
		return nil, false
	}
	return b, true
}

func (p *plain) runReserved() RunReserved {
	b := RunReserved{
		Run:       p.text(`{"run":"`),
		Channel:   p.text(`,"channel":"`),
		Container: p.text(`,"container":"`),
		Node:      p.text(`,"node":"`),
		Output:    p.count(`,"output":`),
		Serial:    p.whole(`,"serial":`),
		Purpose:   wordOf(p, `,"purpose":"`, Dose, Manual),
		Into:      wordOf(p, `,"into":"`, IntoTank, IntoVessel),
	}
	if p.next(`,"slot":"`) {
		b.Slot = p.string()
	}
	b.Volume = safety.Microlitres(p.whole(`,"volume_ul":`))
	b.Duration = safety.Milliseconds(p.whole(`,"duration_ms":`))
	b.Longest = safety.Milliseconds(p.whole(`,"longest_ms":`))
	b.Worst = safety.Microlitres(p.whole(`,"worst_ul":`))
	b.Tolerance = safety.Tolerance(p.whole(`,"tolerance_permille":`))
	b.Rate = safety.Rate(p.whole(`,"rate_nl_s":`))
	if p.next(`,"offset_ul":`) {
		b.Offset = safety.Microlitres(p.int64())
	}
	if p.next(`,"runs_on_ul":`) {
		b.RunsOn = safety.Microlitres(p.int64())
	}
	b.CarryNL = p.whole(`,"carry_nl":`)
	b.DayVolume = safety.Microlitres(p.whole(`,"day_volume_ul":`))
	p.must(`}`)
	return b
}

func (p *plain) runEnded() RunEnded {
	b := RunEnded{Run: p.text(`{"run":"`), Outcome: wordOf(p, `,"outcome":"`, Finished, Partial, Unknown, NotSent)}
	if p.next(`,"duration_ms":`) {
		b.Duration = safety.Milliseconds(p.int64())
	}
	b.Hi = safety.Microlitres(p.whole(`,"hi_ul":`))
	b.Lo = safety.Microlitres(p.whole(`,"lo_ul":`))
	if p.next(`,"reason":"`) {
		b.Reason = p.string()
	}
	p.must(`}`)
	return b
}

func (p *plain) probeMean() ProbeMean {
	b := ProbeMean{Probe: p.text(`{"probe":"`), From: p.instant(`,"from":"`), Until: p.instant(`,"until":"`), Mean: p.number(`,"mean":`), Count: p.count(`,"count":`)}
	p.must(`}`)
	return b
}

// plain takes a text apart from its beginning.
type plain struct {
	rest string
	odd  bool // something was not as expected; what was read is worth nothing
}

// next takes what must come next, if it does.
func (p *plain) next(what string) bool {
	if len(p.rest) < len(what) || p.rest[:len(what)] != what {
		return false
	}
	p.rest = p.rest[len(what):]
	return true
}

func (p *plain) must(what string) { p.odd = !p.next(what) || p.odd }

func (p *plain) text(key string) string {
	p.must(key)
	return p.string()
}

// string takes memory of its own: a part of the text would keep all of it.
func (p *plain) string() string { return strings.Clone(p.quoted()) }

// quoted takes the rest of a string of plain ASCII in which nothing is escaped, with its closing quote.
func (p *plain) quoted() string {
	end := strings.IndexByte(p.rest, '"')
	if end < 0 {
		p.odd = true
		return ""
	}
	word := p.rest[:end]
	for i := range len(word) {
		if c := word[i]; c == '\\' || c < ' ' || c > '~' {
			p.odd = true
			return ""
		}
	}
	p.rest = p.rest[end+1:]
	return word
}

// wordOf takes a string that is nearly always one of a few, which then take no memory.
func wordOf[W ~string](p *plain, key string, few ...W) W {
	p.must(key)
	word := p.quoted()
	for _, w := range few {
		if word == string(w) {
			return w
		}
	}
	return W(strings.Clone(word))
}

func (p *plain) whole(key string) int64 {
	p.must(key)
	return p.int64()
}

func (p *plain) count(key string) int {
	v := p.whole(key)
	p.odd = p.odd || int64(int(v)) != v
	return int(v)
}

// int64 takes a whole number of up to 18 digits, which surely fits, as it is written without need: no zeros before it, no
// minus before 0, no fraction, no exponent.
func (p *plain) int64() int64 {
	const digitsMost = 18
	i, v, minus := 0, int64(0), len(p.rest) > 0 && p.rest[0] == '-'
	if minus {
		i++
	}
	first := i
	for ; i < len(p.rest) && p.rest[i] >= '0' && p.rest[i] <= '9'; i++ {
		if i-first == digitsMost {
			p.odd = true
			return 0
		}
		v = v*10 + int64(p.rest[i]-'0')
	}
	if i == first || (p.rest[first] == '0' && (minus || i > first+1)) {
		p.odd = true
		return 0
	}
	p.rest = p.rest[i:] // a fraction or an exponent is not what must come next
	if minus {
		return -v
	}
	return v
}

// number takes a number as decimal digits, with a fraction or without; one with an exponent is rare.
func (p *plain) number(key string) float64 {
	p.must(key)
	end := strings.IndexByte(p.rest, ',')
	if end < 0 || !decimal(p.rest[:end]) {
		p.odd = true
		return 0
	}
	v, err := strconv.ParseFloat(p.rest[:end], 64)
	p.odd = p.odd || err != nil
	p.rest = p.rest[end:]
	return v
}

// decimal says whether a text is a number by the grammar of JSON (RFC 8259, 6) that has no exponent.
func decimal(s string) bool {
	whole, fraction, point := strings.Cut(strings.TrimPrefix(s, "-"), ".")
	if len(whole) == 0 || (len(whole) > 1 && whole[0] == '0') || (point && len(fraction) == 0) {
		return false
	}
	notDigit := func(c rune) bool { return c < '0' || c > '9' }
	return strings.IndexFunc(whole, notDigit) < 0 && strings.IndexFunc(fraction, notDigit) < 0
}

// instant takes a moment. Inside its quotes it is read as the parser reads it.
func (p *plain) instant(key string) time.Time {
	p.must(key)
	var t time.Time
	if err := t.UnmarshalText([]byte(p.quoted())); err != nil {
		p.odd = true
	}
	return t
}
