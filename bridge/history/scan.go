package history

import (
	"encoding/json"
	"fmt"
	"strconv"
)

// scan walks over one JSON text. It is stricter than encoding/json: a name that stands twice is an error, and
// names are compared as written. It is also faster, since it knows that a line is nearly flat.
type scan struct {
	s string
	i int
}

func (p *scan) space() {
	for p.i < len(p.s) {
		switch p.s[p.i] {
		case ' ', '\t', '\r', '\n':
			p.i++
		default:
			return
		}
	}
}

// peek gives the next byte that is no space, 0 at the end.
func (p *scan) peek() byte {
	p.space()
	if p.i == len(p.s) {
		return 0
	}
	return p.s[p.i]
}

func (p *scan) take(c byte) bool {
	if p.peek() != c || c == 0 {
		return false
	}
	p.i++
	return true
}

func (p *scan) fault(want string) error {
	if p.i >= len(p.s) {
		return fmt.Errorf("not a JSON object: the line ends where %s should stand", want)
	}
	return fmt.Errorf("not a JSON object: at byte %d stands %.12q where %s should stand", p.i+1, p.s[p.i:], want)
}

// object calls member for each name, which must take the value.
func (p *scan) object(member func(name string) error) error {
	if !p.take('{') {
		return p.fault("{")
	}
	if p.take('}') {
		return nil
	}
	for {
		name, err := p.takeText()
		if err != nil {
			return err
		}
		if !p.take(':') {
			return p.fault("a colon")
		}
		if err := member(name); err != nil {
			return err
		}
		if p.take('}') {
			return nil
		}
		if !p.take(',') {
			return p.fault("a comma or }")
		}
	}
}

// array calls item for each element, which must take it.
func (p *scan) array(item func() error) error {
	if !p.take('[') {
		return p.fault("[")
	}
	if p.take(']') {
		return nil
	}
	for {
		if err := item(); err != nil {
			return err
		}
		if p.take(']') {
			return nil
		}
		if !p.take(',') {
			return p.fault("a comma or ]")
		}
	}
}

// takeText takes a string.
func (p *scan) takeText() (string, error) {
	if !p.take('"') {
		return "", p.fault("a text in quotes")
	}
	start, escaped := p.i, false
	for ; p.i < len(p.s); p.i++ {
		switch c := p.s[p.i]; {
		case c == '"':
			p.i++
			if escaped {
				return unescape(p.s[start-1 : p.i])
			}
			return p.s[start : p.i-1], nil
		case c == '\\':
			escaped = true
			p.i++ // whatever follows does not end the text
		case c < ' ':
			return "", p.fault("no control character")
		}
	}
	return "", p.fault("a closing quote")
}

func unescape(quoted string) (string, error) {
	var s string
	if err := json.Unmarshal([]byte(quoted), &s); err != nil {
		return "", fmt.Errorf("not a JSON object: %s is no text", quoted)
	}
	return s, nil
}

// takeNumber takes a number. What no float64 can hold, such as 1e999, is an error.
func (p *scan) takeNumber() (float64, error) {
	p.space()
	n := numberLength(p.s[p.i:])
	if n == 0 {
		return 0, p.fault("a number")
	}
	literal := p.s[p.i : p.i+n]
	v, err := strconv.ParseFloat(literal, 64)
	if err != nil {
		return 0, fmt.Errorf("the number %.20s is too large", literal)
	}
	p.i += n
	return v + 0, nil // the sum turns a negative zero into zero
}

// numberLength gives the length of the JSON number at the start of s, 0 if there is none (RFC 8259, section 6).
func numberLength(s string) int {
	i := 0
	if i < len(s) && s[i] == '-' {
		i++
	}
	whole := digits(s[i:])
	if whole == 0 || (whole > 1 && s[i] == '0') {
		return 0
	}
	i += whole
	if i < len(s) && s[i] == '.' {
		fraction := digits(s[i+1:])
		if fraction == 0 {
			return 0
		}
		i += 1 + fraction
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		j := i + 1
		if j < len(s) && (s[j] == '+' || s[j] == '-') {
			j++
		}
		exponent := digits(s[j:])
		if exponent == 0 {
			return 0
		}
		i = j + exponent
	}
	return i
}

func digits(s string) int {
	n := 0
	for n < len(s) && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return n
}
