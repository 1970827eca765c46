package payload

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Kind is what a JSON value is.
type Kind int

// Kinds of JSON value.
const (
	KindNull Kind = iota
	KindBool
	KindNumber
	KindText
	KindList
	KindObject
)

// KindOf tells the kind of a valid JSON value from its first byte.
func KindOf(raw []byte) Kind {
	raw = bytes.TrimSpace(raw)
	if len(raw) == 0 {
		return KindNull
	}
	switch raw[0] {
	case '{':
		return KindObject
	case '[':
		return KindList
	case '"':
		return KindText
	case 't', 'f':
		return KindBool
	case 'n':
		return KindNull
	}
	return KindNumber
}

func describe(k Kind, raw []byte) string {
	switch k {
	case KindNull:
		return "null"
	case KindBool:
		return string(raw)
	case KindNumber:
		return "the number " + strings.Trim(Quote(string(raw)), `"`)
	case KindText:
		return "the text " + Quote(unquote(raw))
	case KindList:
		return "a list"
	}
	return "an object"
}

func unquote(raw []byte) string {
	var s string
	if json.Unmarshal(raw, &s) != nil {
		return string(raw)
	}
	return s
}

// Text reads a text of 1 to most printable characters. A field that is absent or null gives "".
func (o Object) Text(name string, most int) (string, *Error) {
	raw, ok := o.raw[name]
	if !ok || KindOf(raw) == KindNull {
		return "", nil
	}
	if kind := KindOf(raw); kind != KindText {
		return "", bad("%s is %s: it must be a text in double quotes", Quote(name), describe(kind, raw))
	}
	s := unquote(raw)
	if n := utf8.RuneCountInString(s); n < 1 || n > most {
		return "", bad("%s has %d characters; 1 to %d are allowed", Quote(name), n, most)
	}
	if !Printable(s) {
		return "", bad("%s has a character that cannot be printed: %s", Quote(name), Quote(s))
	}
	return s, nil
}

// Printable says whether s holds nothing but characters that can be shown on one line.
func Printable(s string) bool {
	for _, r := range s {
		if !unicode.IsPrint(r) || r == utf8.RuneError {
			return false
		}
	}
	return true
}

// Number reads a finite number. A field that is absent or null gives nil.
func (o Object) Number(name string) (*float64, *Error) {
	raw, ok := o.raw[name]
	if !ok || KindOf(raw) == KindNull {
		return nil, nil
	}
	v, err := number(name, raw)
	if err != nil {
		return nil, err
	}
	return &v, nil
}

func number(name string, raw []byte) (float64, *Error) {
	switch kind := KindOf(raw); kind {
	case KindNumber:
	case KindText:
		return 0, textForNumber(name, unquote(raw))
	default:
		return 0, notANumber("%s is %s: it must be a number", Quote(name), describe(kind, raw))
	}
	v, err := strconv.ParseFloat(string(bytes.TrimSpace(raw)), 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, notANumber("%s is %s, which is too large to be a measure", Quote(name), Quote(string(raw)))
	}
	if v == 0 {
		v = 0 // no negative zero
	}
	return v, nil
}

// textForNumber explains what to write instead of a text.
func textForNumber(name, s string) *Error {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	switch {
	case err == nil && (math.IsNaN(v) || math.IsInf(v, 0)):
		return notANumber("%s is the text %s: it must be a finite number", Quote(name), Quote(s))
	case err == nil:
		return notANumber("%s is the text %s: send a number, without quotes", Quote(name), Quote(s))
	case strings.Contains(s, ","):
		return notANumber("%s is the text %s: use a number with a point, without quotes", Quote(name), Quote(s))
	}
	return notANumber("%s is the text %s: it must be a number; a unit has its own field", Quote(name), Quote(s))
}

// Count reads a whole number from 0 to 2^53. Required: an absent field is an error.
func (o Object) Count(name string) (int64, *Error) {
	raw, ok := o.raw[name]
	if !ok {
		return 0, bad("the field %s is missing", Quote(name))
	}
	v, err := strconv.ParseInt(string(raw), 10, 64)
	if err != nil || v < 0 || v > 1<<53 {
		return 0, bad("%s is %s: it must be a whole number from 0", Quote(name), describe(KindOf(raw), raw))
	}
	return v, nil
}

// Flag reads true or false. A field that is absent or null gives false.
func (o Object) Flag(name string) (bool, *Error) {
	raw, ok := o.raw[name]
	if !ok || KindOf(raw) == KindNull {
		return false, nil
	}
	if kind := KindOf(raw); kind != KindBool {
		return false, bad("%s is %s: it must be true or false, without quotes", Quote(name), describe(kind, raw))
	}
	return raw[0] == 't', nil
}

// Time reads an RFC 3339 time with its offset and gives it in UTC. Letters may be lower case and a leap second
// counts as the second before it. A field that is absent or null gives nil.
func (o Object) Time(name string) (*time.Time, *Error) {
	s, bad1 := o.Text(name, 40)
	if bad1 != nil || s == "" {
		return nil, bad1
	}
	upper := strings.ToUpper(s)
	if len(upper) > 19 && upper[16:19] == ":60" {
		upper = upper[:16] + ":59" + upper[19:]
	}
	t, err := time.Parse(time.RFC3339Nano, upper)
	if err != nil {
		return nil, bad("%s is %s: write date, time and offset, such as 2027-03-02T09:00:10Z or 2027-03-02T10:00:10+01:00", Quote(name), Quote(s))
	}
	if t = t.UTC(); t.Year() < 1970 || t.Year() > 2199 {
		return nil, bad("%s is %s: years from 1970 to 2199 can be used", Quote(name), Quote(s))
	}
	return &t, nil
}

// Object reads an object inside this one. A field that is absent or null gives false.
func (o Object) Object(name string) (Object, bool, *Error) {
	raw, ok := o.raw[name]
	if !ok || KindOf(raw) == KindNull {
		return Object{}, false, nil
	}
	if kind := KindOf(raw); kind != KindObject {
		return Object{}, false, bad("%s is %s: it must be an object in braces", Quote(name), describe(kind, raw))
	}
	inner, err := object(Quote(name), raw)
	return inner, err == nil, err
}

// Objects reads a list of 1 to most objects. A field that is absent or null gives nil.
func (o Object) Objects(name string, most int) ([]Object, *Error) {
	raw, ok := o.raw[name]
	if !ok || KindOf(raw) == KindNull {
		return nil, nil
	}
	if kind := KindOf(raw); kind != KindList {
		return nil, bad("%s is %s: it must be a list of objects", Quote(name), describe(kind, raw))
	}
	var items []json.RawMessage
	if err := json.Unmarshal(raw, &items); err != nil {
		return nil, bad("%s: %v", Quote(name), err)
	}
	if len(items) < 1 || len(items) > most {
		return nil, bad("%s has %d entries; 1 to %d are allowed", Quote(name), len(items), most)
	}
	out := make([]Object, 0, len(items))
	for i, item := range items {
		inner, err := object(Quote(name)+" entry "+strconv.Itoa(i+1), item)
		if err != nil {
			return nil, err
		}
		out = append(out, inner)
	}
	return out, nil
}
