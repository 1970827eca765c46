package topics

import (
	"fmt"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics/payload"
	"aliquot/safety"
)

// Refusal says why a request could not be read. Ref is the sender's reference where it could be read, so that the
// sender learns which request was meant.
type Refusal struct {
	Code safety.Code
	Text string
	Ref  string
}

func (r *Refusal) Error() string { return r.Text }

// ParseRequest reads a request of one verb, the last level of its topic. It checks the form alone: exactly one JSON
// object within the limits of package payload, every field known to the verb and of the right kind, every required
// field there. A retained request is refused by the caller, who alone sees the flag. On a refusal the request is
// zero.
func ParseRequest(verb string, data []byte) (machine.Request, *Refusal) {
	refuse := func(code safety.Code, text string) (machine.Request, *Refusal) {
		ref, ok := payload.Salvage(data, "ref")
		if !ok || !validRef(ref) {
			ref = ""
		}
		return machine.Request{}, &Refusal{code, text, ref}
	}
	doc, known := findVerb(verb)
	if !known {
		return refuse(safety.UnknownVerb, unknownVerb(verb))
	}
	o, bad := payload.Read(data)
	if bad != nil {
		return refuse(bad.Code, verb+": "+bad.Text)
	}
	if text := unknownField(doc, o); text != "" {
		return refuse(safety.BadPayload, text)
	}
	q := machine.Request{Verb: doc.Verb}
	for _, f := range doc.fields() {
		if f.Required && !o.Has(f.Name) {
			return refuse(safety.BadPayload, missing(doc, f))
		}
		if bad := readField(&q, f, o); bad != nil {
			return refuse(bad.Code, verb+": "+bad.Text)
		}
	}
	return q, nil
}

func validRef(ref string) bool {
	n := len([]rune(ref))
	return n >= 1 && n <= maxRef && payload.Printable(ref)
}

func unknownVerb(verb string) string {
	var all []string
	for _, v := range machine.Verbs() {
		all = append(all, string(v))
	}
	return fmt.Sprintf("there is no request %s%s; there are: %s", payload.Quote(verb), suggest(verb, all), strings.Join(all, ", "))
}

// unknownField explains the first field that the verb does not take, "" if there is none.
func unknownField(doc VerbDoc, o payload.Object) string {
	var all []string
	for _, f := range doc.fields() {
		all = append(all, f.Name)
	}
	for _, name := range o.Names() {
		if !contains(all, name) {
			return fmt.Sprintf("%s: there is no field %s%s; %s takes %s", doc.Verb, payload.Quote(name), suggest(name, all), doc.Verb, strings.Join(all, ", "))
		}
	}
	return ""
}

func missing(doc VerbDoc, f FieldDoc) string {
	return fmt.Sprintf("%s: the field %q is missing (%s): %s", doc.Verb, f.Name, f.Kind, f.Meaning)
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// readField reads one field into its place.
func readField(q *machine.Request, f FieldDoc, o payload.Object) (bad *payload.Error) {
	switch f.read {
	case kindName:
		*textPlace(q, f.Name), bad = o.Text(f.Name, maxName)
	case kindText:
		*textPlace(q, f.Name), bad = o.Text(f.Name, maxText)
	case kindNumber:
		*numberPlace(q, f.Name), bad = o.Number(f.Name)
	case kindFlag:
		*flagPlace(q, f.Name), bad = o.Flag(f.Name)
	case kindTime:
		if f.Name == "until" {
			q.Until, bad = o.Time(f.Name)
		} else {
			q.At, bad = o.Time(f.Name)
		}
	case kindMix:
		q.Mix, bad = readMix(o)
	case kindTrials:
		q.Trials, bad = readTrials(o)
	case kindMeasure:
		q.SampleAt, bad = readMeasureOf(f.Name, o)
	}
	return bad
}

func textPlace(q *machine.Request, name string) *string {
	switch name {
	case "ref":
		return &q.Ref
	case "by":
		return &q.By
	case "system":
		return &q.System
	case "channel":
		return &q.Channel
	case "container":
		return &q.Container
	case "quantity":
		return &q.Quantity
	case "unit":
		return &q.Unit
	case "method":
		return &q.Method
	case "lot":
		return &q.Lot
	case "of":
		return &q.Of
	case "into":
		return &q.Into
	case "supplement":
		return &q.Supplement
	case "reason":
		return &q.Reason
	case "code":
		return &q.Code
	case "alert":
		return &q.Alert
	case "what":
		return &q.What
	case "kind":
		return &q.Kind
	case "text":
		return &q.Text
	}
	panic("topics: no place for the text " + name)
}

func numberPlace(q *machine.Request, name string) **float64 {
	switch name {
	case "value":
		return &q.Value
	case "stated":
		return &q.Stated
	case "volume_ml":
		return &q.VolumeML
	case "remaining_ml":
		return &q.RemainingML
	case "volume_l":
		return &q.VolumeL
	case "seconds":
		return &q.Seconds
	case "minutes":
		return &q.Minutes
	case "density_kg_per_l":
		return &q.DensityKgL
	case "water_celsius":
		return &q.WaterC
	}
	panic("topics: no place for the number " + name)
}

func flagPlace(q *machine.Request, name string) *bool {
	switch name {
	case "all":
		return &q.All
	case "full":
		return &q.Full
	case "confirm":
		return &q.Confirm
	}
	panic("topics: no place for the flag " + name)
}
