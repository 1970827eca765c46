package payload

import "strings"

// ordinary reads what nearly every device sends, in one pass and without copies: JSON without escapes in its texts and
// with few fields in each object. It never judges. Whatever it does not know, or might have to complain of, it leaves to
// At, which reads everything.
type ordinary struct {
	data  []byte
	at    int
	depth int
	leaf  Leaf
	found bool
}

// mostNames is how many fields an object may have here: each name is compared with those before it.
const mostNames = 16

// target says what is looked for in a value.
type target struct {
	wanted bool   // the value, or something in it
	path   string // below it; empty with here
	here   bool   // the value itself
}

// quickly gives the value at a path that is not empty; ok is false if the payload is not ordinary. The payload must be
// valid UTF-8.
func quickly(data []byte, path string) (leaf Leaf, found, ok bool) {
	o := ordinary{data: data}
	o.space()
	if !o.value(target{wanted: true, path: path}) {
		return Leaf{}, false, false
	}
	if o.space(); o.at != len(data) {
		return Leaf{}, false, false
	}
	return o.leaf, o.found, true
}

func (o *ordinary) space() {
	for o.at < len(o.data) && (o.data[o.at] == ' ' || o.data[o.at] == '\n' || o.data[o.at] == '\t' || o.data[o.at] == '\r') {
		o.at++
	}
}

// take passes over one byte, if it is there.
func (o *ordinary) take(b byte) bool {
	if o.at < len(o.data) && o.data[o.at] == b {
		o.at++
		return true
	}
	return false
}

// value passes over one value. False: it is not ordinary.
func (o *ordinary) value(t target) bool {
	if o.at >= len(o.data) {
		return false
	}
	start := o.at
	switch c := o.data[o.at]; {
	case c == '{' || c == '[':
		if t.here || o.depth >= MaxDepth {
			return false
		}
		o.depth++
		o.at++
		ok := c == '{' && o.object(t) || c == '[' && !t.wanted && o.list()
		o.depth--
		return ok
	case c == '"':
		text, ok := o.text()
		return ok && o.keep(t, KindText, text)
	case c == 't':
		return o.word("true") && o.keep(t, KindBool, "true")
	case c == 'f':
		return o.word("false") && o.keep(t, KindBool, "false")
	case c == 'n':
		return o.word("null") && o.keep(t, KindNull, "null")
	}
	return o.number() && (!t.here || o.keep(t, KindNumber, string(o.data[start:o.at])))
}

func (o *ordinary) keep(t target, kind Kind, text string) bool {
	if t.here {
		o.leaf, o.found = Leaf{kind, text}, true
	}
	return true
}

// object passes over an object behind its brace.
func (o *ordinary) object(t target) bool {
	var names [mostNames]string
	if o.space(); o.take('}') {
		return true
	}
	key, rest, more := strings.Cut(t.path, ".")
	for n := 0; n < mostNames; n++ {
		o.space()
		name, ok := o.text()
		if !ok {
			return false
		}
		for _, before := range names[:n] {
			if before == name {
				return false
			}
		}
		names[n] = name
		if o.space(); !o.take(':') {
			return false
		}
		inner := target{}
		if t.wanted && name == key {
			inner = target{wanted: true, path: rest, here: !more}
		}
		if o.space(); !o.value(inner) {
			return false
		}
		if o.space(); o.take('}') {
			return true
		}
		if !o.take(',') {
			return false
		}
	}
	return false
}

// list passes over a list behind its bracket.
func (o *ordinary) list() bool {
	if o.space(); o.take(']') {
		return true
	}
	for {
		if o.space(); !o.value(target{}) {
			return false
		}
		if o.space(); o.take(']') {
			return true
		}
		if !o.take(',') {
			return false
		}
	}
}

// text passes over a text in quotes.
func (o *ordinary) text() (string, bool) {
	if !o.take('"') {
		return "", false
	}
	for start := o.at; o.at < len(o.data); o.at++ {
		switch c := o.data[o.at]; {
		case c == '"':
			o.at++
			return string(o.data[start : o.at-1]), true
		case c == '\\' || c < ' ':
			return "", false
		}
	}
	return "", false
}

func (o *ordinary) word(w string) bool {
	if !strings.HasPrefix(string(o.data[o.at:min(len(o.data), o.at+len(w))]), w) {
		return false
	}
	o.at += len(w)
	return true
}

// number passes over a number (RFC 8259, section 6).
func (o *ordinary) number() bool {
	o.take('-')
	if !o.take('0') && !o.digits() {
		return false
	}
	if o.take('.') && !o.digits() {
		return false
	}
	if o.take('e') || o.take('E') {
		if !o.take('+') {
			o.take('-')
		}
		return o.digits()
	}
	return true
}

func (o *ordinary) digits() bool {
	start := o.at
	for o.at < len(o.data) && digit(o.data[o.at]) {
		o.at++
	}
	return o.at > start
}
