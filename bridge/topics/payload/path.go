package payload

import (
	"encoding/json"
	"strconv"
	"strings"
)

// Leaf is one plain value found in a payload.
type Leaf struct {
	Kind Kind   // KindText for a plain payload
	Text string // a JSON text without its quotes, any other value as it is written
}

// At gives the value at a dotted path, such as status.output or list.0.value; an empty path stands for the whole
// payload as plain text. False without an error: there is nothing at that path in a payload that is fine
// otherwise. An object or a list at the path is an error, since it is no plain value.
func At(data []byte, path string) (Leaf, bool, *Error) {
	if path == "" {
		if err := Sized(data); err != nil {
			return Leaf{}, false, err
		}
		return Leaf{Kind: KindText, Text: string(data)}, true, nil
	}
	if err := Sized(data); err != nil {
		return Leaf{}, false, err
	}
	if leaf, found, ok := quickly(data, path); ok {
		return leaf, found, nil
	}
	return slowly(data, path)
}

// slowly reads any payload, and finds the words for what is wrong with it.
func slowly(data []byte, path string) (Leaf, bool, *Error) {
	if err := Check(data); err != nil {
		return Leaf{}, false, err
	}
	raw := json.RawMessage(data)
	for key := range strings.SplitSeq(path, ".") {
		var ok bool
		if raw, ok = child(raw, key); !ok {
			return Leaf{}, false, nil
		}
	}
	switch kind := KindOf(raw); kind {
	case KindObject, KindList:
		return Leaf{}, false, bad("there is %s at %s: a plain value is needed", describe(kind, raw), Quote(path))
	case KindText:
		return Leaf{Kind: kind, Text: unquote(raw)}, true, nil
	default:
		return Leaf{Kind: kind, Text: strings.TrimSpace(string(raw))}, true, nil
	}
}

// child gives the entry of an object or list of valid JSON.
func child(raw json.RawMessage, key string) (json.RawMessage, bool) {
	switch KindOf(raw) {
	case KindObject:
		var fields map[string]json.RawMessage
		if json.Unmarshal(raw, &fields) != nil {
			return nil, false
		}
		v, ok := fields[key]
		return v, ok
	case KindList:
		var items []json.RawMessage
		if i, err := strconv.Atoi(key); err == nil && json.Unmarshal(raw, &items) == nil && i >= 0 && i < len(items) {
			return items[i], true
		}
	}
	return nil, false
}
