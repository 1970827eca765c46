package payload

import (
	"bytes"
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"unicode/utf8"
)

// explain gives the reason why data is no JSON, as near to the mistake as it can be told.
func explain(data []byte) *Error {
	var v any
	var syntax *json.SyntaxError
	if err := json.Unmarshal(data, &v); !errors.As(err, &syntax) {
		return bad("not valid JSON")
	}
	at := max(0, min(int(syntax.Offset)-1, len(data)-1))
	word := wordAround(data, at)
	switch strings.TrimLeft(strings.ToLower(word), "+-") {
	case "nan", "inf", "infinity":
		return notANumber("%s is not a number that can be used: send a finite number, or leave the field out", word)
	}
	if before, ok := commaBefore(data, at); ok {
		return notANumber("the number near %s has a decimal comma: use a point, such as 8.3", Quote(before))
	}
	switch {
	case data[at] == '\'' || bytes.HasPrefix(bytes.TrimSpace(data), []byte("{'")):
		return bad("not valid JSON at byte %d: names and texts need double quotes", at+1)
	case data[at] == '}' || data[at] == ']':
		return bad("not valid JSON at byte %d, near %s: a comma too many, or a value is missing", at+1, near(data, at))
	case int(syntax.Offset) >= len(data) && strings.Contains(syntax.Error(), "unexpected end"):
		return bad("not valid JSON: it ends too early, a closing quote or bracket is missing")
	}
	return bad("not valid JSON at byte %d, near %s", at+1, near(data, at))
}

// wordAround gives the letters, digits and signs around a byte.
func wordAround(data []byte, at int) string {
	from, to := at, at
	for from > 0 && wordByte(data[from-1]) {
		from--
	}
	for to < len(data) && wordByte(data[to]) {
		to++
	}
	return string(data[from:to])
}

func wordByte(b byte) bool {
	return b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' || b >= '0' && b <= '9' || b == '-' || b == '+' || b == '.'
}

// commaBefore recognises digits, a comma and digits where a name was expected: 8,3.
func commaBefore(data []byte, at int) (string, bool) {
	if at < 2 || !digit(data[at]) || data[at-1] != ',' || !digit(data[at-2]) {
		return "", false
	}
	return wordAround(data, at-2) + "," + wordAround(data, at), true
}

func digit(b byte) bool { return b >= '0' && b <= '9' }

func near(data []byte, at int) string {
	from, to := max(0, at-8), min(len(data), at+12)
	for from > 0 && !utf8.RuneStart(data[from]) {
		from--
	}
	for to < len(data) && !utf8.RuneStart(data[to]) {
		to++
	}
	return Quote(string(data[from:to]))
}

// Quote puts a text from outside into quotes, shortened, with nothing in it that could disturb a log.
func Quote(s string) string {
	const most = 48
	r := []rune(s)
	if len(r) > most {
		return strconv.Quote(string(r[:most]) + "…")
	}
	return strconv.Quote(s)
}

// Salvage reads one text field of the outermost object out of a payload that may be broken behind it, so that
// the sender can be told which message was wrong. False if it cannot be read, or is there twice.
func Salvage(data []byte, name string) (string, bool) {
	if Sized(data) != nil {
		return "", false
	}
	d := json.NewDecoder(bytes.NewReader(data))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return "", false
	}
	found, times := "", 0
	for {
		field, err := nextName(d)
		if err != nil {
			break
		}
		var value any
		if d.Decode(&value) != nil {
			break
		}
		if s, ok := value.(string); ok && field == name {
			found = s
			times++
		}
	}
	return found, times == 1
}
