package payload

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"aliquot/safety"
)

// MaxDepth is how deep objects and lists may lie in each other; the outermost counts as 1.
const MaxDepth = 8

// Error says why a payload cannot be used. Code is bad_payload, too_large or not_a_number.
type Error struct {
	Code safety.Code
	Text string
}

func (e *Error) Error() string { return e.Text }

func bad(format string, args ...any) *Error {
	return &Error{Code: safety.BadPayload, Text: fmt.Sprintf(format, args...)}
}

func notANumber(format string, args ...any) *Error {
	return &Error{Code: safety.NotANumber, Text: fmt.Sprintf(format, args...)}
}

// Object is one JSON object that passed every check.
type Object struct {
	names []string
	raw   map[string]json.RawMessage
}

// Read reads a payload that must be exactly one JSON object. On an error the object is empty.
func Read(data []byte) (Object, *Error) {
	if err := Check(data); err != nil {
		return Object{}, err
	}
	return object("the payload", bytes.TrimSpace(data))
}

// Check tells whether data is one JSON value of any kind that keeps the limits of this package.
func Check(data []byte) *Error {
	if err := Sized(data); err != nil {
		return err
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return bad("the payload is empty")
	}
	if !json.Valid(data) {
		return explain(data)
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber() // a number too large for us is refused where it is used, with its name
	return walk(d, nil)
}

// Sized tells whether data is short enough and valid UTF-8, which holds for plain payloads too.
func Sized(data []byte) *Error {
	if len(data) > safety.MaxPayload {
		return &Error{Code: safety.TooLarge,
			Text: fmt.Sprintf("the payload has %d bytes; at most %d are read", len(data), safety.MaxPayload)}
	}
	if !utf8.Valid(data) {
		return bad("the payload is not valid UTF-8")
	}
	return nil
}

// walk refuses duplicate names and too much depth in a value that is known to be valid JSON. path holds the
// objects and lists around it.
func walk(d *json.Decoder, path []string) *Error {
	token, err := d.Token()
	if err != nil {
		return bad("not valid JSON: %v", err)
	}
	open, ok := token.(json.Delim)
	if !ok {
		return nil
	}
	if len(path) >= MaxDepth {
		return bad("objects and lists lie more than %d deep in each other", MaxDepth)
	}
	seen := map[string]bool{}
	for i := 0; d.More(); i++ {
		at := strconv.Itoa(i)
		if open == '{' {
			if at, err = nextName(d); err != nil {
				return bad("not valid JSON: %v", err)
			}
			if seen[at] {
				return bad("the field %s is there twice", Quote(strings.Join(append(path, at), ".")))
			}
			seen[at] = true
		}
		if bad := walk(d, append(path, at)); bad != nil {
			return bad
		}
	}
	if _, err := d.Token(); err != nil {
		return bad("not valid JSON: %v", err)
	}
	return nil
}

func nextName(d *json.Decoder) (string, error) {
	token, err := d.Token()
	if err != nil {
		return "", err
	}
	name, ok := token.(string)
	if !ok {
		return "", fmt.Errorf("a name was expected, found %v", token)
	}
	return name, nil
}

// object splits an object that Check has passed.
func object(what string, raw []byte) (Object, *Error) {
	if kind := KindOf(raw); kind != KindObject {
		return Object{}, bad("%s is %s: it must be one JSON object, such as {\"ref\":\"a1\"}", what, describe(kind, raw))
	}
	o := Object{raw: map[string]json.RawMessage{}}
	d := json.NewDecoder(bytes.NewReader(raw))
	if _, err := d.Token(); err != nil {
		return Object{}, bad("not valid JSON: %v", err)
	}
	for d.More() {
		name, err := nextName(d)
		if err != nil {
			return Object{}, bad("not valid JSON: %v", err)
		}
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return Object{}, bad("not valid JSON: %v", err)
		}
		o.names = append(o.names, name)
		o.raw[name] = value
	}
	return o, nil
}

// Names gives the object's fields in the order in which they stand.
func (o Object) Names() []string { return o.names }

// Has says whether a field is there and is not null: null stands for absent.
func (o Object) Has(name string) bool {
	raw, ok := o.raw[name]
	return ok && KindOf(raw) != KindNull
}
