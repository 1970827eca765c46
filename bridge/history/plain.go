package history

import (
	"bytes"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// The plain line of a run, of which nearly all of a long history consists, is these texts with a time, a channel, a
// volume and an outcome between them. It is read without the parser, which takes several times as long.
const (
	plainTime    = `{"time":"`
	plainChannel = `","type":"run","channel":"`
	plainVolume  = `","volume_ml":`
	plainOutcome = `,"outcome":"`
	plainEnd     = `"}`
)

// plainRun reads a plain run that gives no id. It says no to whatever is not written in just that way, whether right
// or wrong: the parser decides about that. Where it says yes the row is the one that the parser gives.
func (r *reader) plainRun(s []byte) (machine.Row, bool) {
	const second = len("2027-03-01T07:00:00Z")
	rest, ok := bytes.CutPrefix(s, []byte(plainTime))
	if !ok || len(rest) < second {
		return machine.Row{}, false
	}
	at, timed := plainInstant(rest[:second])
	rest, ok = bytes.CutPrefix(rest[second:], []byte(plainChannel))
	n := plainText(rest)
	if !timed || !ok || n == 0 {
		return machine.Row{}, false
	}
	channel := rest[:n]
	if rest, ok = bytes.CutPrefix(rest[n:], []byte(plainVolume)); !ok {
		return machine.Row{}, false
	}
	volume, n := plainVolumeOf(rest)
	if rest, ok = bytes.CutPrefix(rest[n:], []byte(plainOutcome)); !ok || volume == 0 {
		return machine.Row{}, false
	}
	outcome, ok := plainOutcomeOf(rest)
	if !ok {
		return machine.Row{}, false
	}
	return machine.Row{At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, Body: machine.RunPast{
		Channel: r.nameOf(channel), Happened: at, Purpose: machine.Dose, Into: machine.IntoTank, Volume: volume, Outcome: outcome}}, true
}

// plainOutcomeOf takes the end of the line. A partial run needs its delivered volume and is never plain.
func plainOutcomeOf(s []byte) (machine.Outcome, bool) {
	word, ok := bytes.CutSuffix(s, []byte(plainEnd))
	if !ok {
		return "", false
	}
	for _, o := range [...]machine.Outcome{machine.Finished, machine.Unknown, machine.NotSent} {
		if string(word) == string(o) {
			return o, true
		}
	}
	return "", false
}

// plainText gives how many bytes stand before the closing quote, 0 if any of them is not plain ASCII.
func plainText(s []byte) int {
	for i, c := range s {
		switch {
		case c == '"':
			return i
		case c == '\\' || c < ' ' || c > '~':
			return 0
		}
	}
	return 0
}

// plainVolumeOf takes a volume of up to four digits and three decimals, mL, which is whole in µL, so that nothing is
// rounded. It gives 0 for what it does not take, and the count of bytes read.
func plainVolumeOf(s []byte) (safety.Microlitres, int) {
	const wholeMost, decimals = 4, 3
	ul, i := safety.Microlitres(0), 0
	for ; i < len(s) && isDigit(s[i]); i++ {
		ul = ul*10 + safety.Microlitres(s[i]-'0')
		if i == wholeMost {
			return 0, 0
		}
	}
	if i == 0 || (i > 1 && s[0] == '0') {
		return 0, 0
	}
	places := 0
	if i < len(s) && s[i] == '.' {
		for i++; i < len(s) && isDigit(s[i]); i++ {
			ul = ul*10 + safety.Microlitres(s[i]-'0')
			if places++; places > decimals {
				return 0, 0
			}
		}
		if places == 0 {
			return 0, 0
		}
	}
	for ; places < decimals; places++ {
		ul *= 10
	}
	return ul, i
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// plainInstant reads 2027-03-01T07:00:00Z: whole seconds in UTC, nothing else.
func plainInstant(s []byte) (time.Time, bool) {
	const shape = "dddd-dd-ddTdd:dd:ddZ"
	for i := range len(shape) {
		if shape[i] == 'd' && !isDigit(s[i]) || shape[i] != 'd' && s[i] != shape[i] {
			return time.Time{}, false
		}
	}
	two := func(i int) int { return int(s[i]-'0')*10 + int(s[i+1]-'0') }
	year, month, day := two(0)*100+two(2), time.Month(two(5)), two(8)
	hour, minute, second := two(11), two(14), two(17)
	if year < firstYear || hour > 23 || minute > 59 || second > 59 {
		return time.Time{}, false
	}
	t := time.Date(year, month, day, hour, minute, second, 0, time.UTC)
	return t, t.Month() == month && t.Day() == day // else there is no such day
}
