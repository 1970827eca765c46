package topics

import "aliquot/bridge/machine"

// kind of a field's value.
type kind string

const (
	kindName   kind = "name"   // text of 1 to 64 printable characters
	kindText   kind = "text"   // text of 1 to 500 printable characters
	kindNumber kind = "number" // finite
	kindFlag   kind = "true or false"
	kindTime   kind = "time"   // RFC 3339 with its offset
	kindMix    kind = "object" // quantity -> {"value", "unit"}
	kindTrials kind = "list"   // of {"seconds", "measured_ml"} or {"seconds", "measured_g"}
	// kindMeasure is {"value", "unit"}.
	kindMeasure kind = "value and unit"
)

// Limits of texts and lists in requests.
const (
	maxRef    = 64
	maxName   = 64
	maxText   = 500
	maxMix    = 32
	maxTrials = 32
)

// FieldDoc is one field of a request.
type FieldDoc struct {
	Name     string
	Kind     string
	Required bool
	Meaning  string // with its unit
	read     kind
}

// VerbDoc is one request.
type VerbDoc struct {
	Verb    machine.Verb
	Meaning string
	Fields  []FieldDoc // beyond Common
	Example string     // a payload that is well formed
}

func must(name string, k kind, meaning string) FieldDoc {
	return FieldDoc{Name: name, Kind: string(k), Required: true, Meaning: meaning, read: k}
}

func may(name string, k kind, meaning string) FieldDoc {
	return FieldDoc{Name: name, Kind: string(k), Meaning: meaning, read: k}
}

// Common lists the fields that every request takes.
func Common() []FieldDoc {
	return []FieldDoc{
		must("ref", kindName, "the sender's reference, unique per site for 400 days; a repeat gets the first answer again and changes nothing. With `*` at its end, for `hold`, `release`, `stop`, `acknowledge` and `clock`: each message is a request of its own, and the answer has a number behind the star"),
		may("by", kindName, "who asks"),
		may("at", kindTime, "when it happened (a sample was drawn, water was changed), if not now"),
		may("confirm", kindFlag, "true: do it although the answer to the same request was needs_confirm"),
	}
}

var (
	mustChannel = must("channel", kindName, "name of the channel")
	mayChannel  = may("channel", kindName, "this channel only")
	mustVessel  = must("container", kindName, "name of the container")
	maySystem   = may("system", kindName, "name of the system; may be left out where there is only one")
	inSystem    = may("system", kindName, "every channel of this system")
	mayAll      = may("all", kindFlag, "true: everything")
	mayInto     = may("into", kindName, "`tank` or `vessel`: where the outlet is")
	runVolume   = may("volume_ml", kindNumber, "how much, mL")
	runSeconds  = may("seconds", kindNumber, "how long, s; instead of volume_ml")
	remaining   = may("remaining_ml", kindNumber, "what the container holds now, mL")
	mayFull     = may("full", kindFlag, "true: the container is full now")
	mayReason   = may("reason", kindText, "why")
)

// Verbs lists every request, in the order of machine.Verbs.
func Verbs() []VerbDoc { return append(append(waterVerbs(), lineVerbs()...), careVerbs()...) }

func waterVerbs() []VerbDoc {
	return []VerbDoc{
		{machine.VerbTest, "Enter a manual measurement.", []FieldDoc{maySystem,
			must("quantity", kindName, "what was measured"),
			must("value", kindNumber, "the result, in `unit`"),
			may("unit", kindName, "unit of the result, never guessed: without it the answer is missing_unit"),
			may("temperature", kindMeasure, "of the sample, {\"value\", \"unit\"}; for a conductivity, and for amounts per kilogram. Left out, 25 degC, to which hobby meters compensate"),
			may("method", kindName, "test kit or instrument"),
			may("lot", kindName, "lot of the test kit"),
			may("of", kindName, "`tank` (default), `mix` or `reference`"),
			may("stated", kindNumber, "of a reference solution: what it is stated to have, in `unit`. With `lot` it shows by how much the lot reads wrong, and every test of that lot is put right, earlier ones too")},
			`{"ref":"t-0301-alk","quantity":"alkalinity","value":8.3,"unit":"dKH","at":"2027-03-01T08:00:00Z"}`},
		{machine.VerbWaterChange, "Tell that water was replaced.", []FieldDoc{maySystem,
			must("volume_l", kindNumber, "how much was replaced, L"),
			may("mix", kindMix, "levels of the new water: quantity -> {\"value\", \"unit\"}"),
			may("until", kindTime, "end of a continuous exchange that began at `at`")},
			`{"ref":"wc-0301","volume_l":30,"mix":{"alkalinity":{"value":8,"unit":"dKH"}}}`},
	}
}

func lineVerbs() []VerbDoc {
	return []VerbDoc{
		{machine.VerbPrime, "Run a channel, with a person present, until liquid leaves the outlet. Without volume and time: the line's own volume.",
			[]FieldDoc{mustChannel, runVolume, runSeconds, mayInto}, `{"ref":"p-1","channel":"alk","into":"vessel"}`},
		{machine.VerbPrimed, "Say that liquid was seen at the outlet.", []FieldDoc{mustChannel}, `{"ref":"p-2","channel":"alk"}`},
		{machine.VerbCalibrate, "Without trials: run into a measuring vessel. With trials: take what the runs really delivered.",
			[]FieldDoc{mustChannel, runSeconds, runVolume, mayInto,
				may("trials", kindTrials, "1 to 32 of {\"seconds\": s, \"measured_ml\": mL}, or with \"measured_g\": g from a scale; three or more for a full calibration, and the longest at least twice the shortest to tell what each run gives besides rate × time"),
				may("density_kg_per_l", kindNumber, "of the solution that was weighed, kg/L, 0.7 to 2; this or water_celsius goes with `measured_g`"),
				may("water_celsius", kindNumber, "temperature of the plain water that was weighed, degC, 0 to 40 (ISO 8655-6)")},
			`{"ref":"c-1","channel":"alk","trials":[{"seconds":60,"measured_ml":9.8},{"seconds":60,"measured_ml":9.9},{"seconds":60,"measured_ml":9.8}]}`},
		{machine.VerbProve, "Switch a relay on, never off, with the outlet in a vessel: it must be seen to go off by itself.",
			[]FieldDoc{mustChannel, mayInto}, `{"ref":"pr-1","channel":"trace","into":"vessel"}`},
		{machine.VerbRefill, "Tell that a container was topped up. One of volume_ml, remaining_ml, full is needed.",
			[]FieldDoc{mustVessel, may("volume_ml", kindNumber, "what was added, mL"), remaining, mayFull}, `{"ref":"r-1","container":"carbonate-jug","full":true}`},
		{machine.VerbSwap, "Tell that a container's contents were replaced. One of remaining_ml, full is needed.",
			[]FieldDoc{mustVessel, may("supplement", kindName, "what it holds now, if not the same as before"), remaining, mayFull},
			`{"ref":"s-1","container":"carbonate-jug","remaining_ml":4800}`},
		{machine.VerbTube, "Tell that a channel's pump tubing was changed.", []FieldDoc{mustChannel}, `{"ref":"tu-1","channel":"alk"}`},
	}
}

func careVerbs() []VerbDoc {
	return []VerbDoc{
		{machine.VerbHold, "Pause for a while. One of channel, system, all is needed. Without an end: 2 h. At most 24 h.",
			[]FieldDoc{mayChannel, inSystem, mayAll, may("minutes", kindNumber, "how long, min; 0 ends the hold, as `release` does"), may("until", kindTime, "end; instead of minutes"), mayReason},
			`{"ref":"h-1","all":true,"minutes":30,"reason":"feeding"}`},
		{machine.VerbRelease, "End a hold. One of channel, system, all is needed.", []FieldDoc{mayChannel, inSystem, mayAll}, `{"ref":"h-2","all":true}`},
		{machine.VerbOutOfService, "Take out of service until it is brought back with clear. One of channel, system, all is needed.",
			[]FieldDoc{mayChannel, inSystem, mayAll, must("reason", kindText, "why, for whoever finds it")}, `{"ref":"o-1","channel":"mg","reason":"pump head broken"}`},
		{machine.VerbRun, "Give one extra dose. One of volume_ml, seconds is needed. All limits hold.",
			[]FieldDoc{mustChannel, runVolume, runSeconds, mayInto, may("kind", kindName, "`test`: a test run with a person present")},
			`{"ref":"x-1","channel":"alk","volume_ml":2}`},
		{machine.VerbStop, "Stop pumps now. Without a name: all of them. A message here that cannot be read stops all of them too, and is complained of. A stop is obeyed however often it comes, also with a reference that was used before. The plan goes on at the next slot.",
			[]FieldDoc{mayChannel, inSystem, mayAll}, `{"ref":"stop-1"}`},
		{machine.VerbCut, "Open a supply relay, which feeds the pumps of one or more nodes: to try it, or because something looks wrong. Nothing runs behind it until it is cleared and a person has switched it on where it hangs. It is never switched on from here.",
			[]FieldDoc{must("what", kindName, "name of the supply relay, a node of style `supply`"), mayReason},
			`{"ref":"cut-1","what":"pump-supply","reason":"monthly trial"}`},
		{machine.VerbClear, "End a lockout, an out-of-service state or a latched interlock. One of channel, system, all, what is needed.",
			[]FieldDoc{mayChannel, inSystem, mayAll, may("code", kindName, "this lockout only"), may("what", kindName, "name of a latched interlock, or of a supply relay that was opened")},
			`{"ref":"cl-1","channel":"alk","code":"fault"}`},
		{machine.VerbAccept, "Accept something that waits for it.",
			[]FieldDoc{must("what", kindName, "`configuration`: raised caps, fixed, base and shared volumes that rise by more than a quarter, a changed net volume, and a course that is raised or begun anew; `ledger`: the ledger as it is, after it was restored or lost; `placement`: container, pump, line and outlet of a channel were looked at; `trials`: what runs of a calibration under way delivered, remembered until it is entered; `commissioned`: a channel is proven, primed, calibrated and tried, and its schedule was agreed to"),
				may("channel", kindName, "name of the channel; needed with `placement`, `trials` and `commissioned`"), may("text", kindText, "a remark; with `placement` and `commissioned` it is needed and says what was looked at, with `trials` what was measured, such as `--trial 60s=9.8mL --trial 60s=9.9mL`")},
			`{"ref":"a-1","what":"ledger"}`},
		{machine.VerbAcknowledge, "Say that somebody knows of an alert: it is not told again. For a while with `minutes`, at most 24 h, or 2 h for a critical one.", []FieldDoc{may("alert", kindName, "name of the alert"), may("all", kindFlag, "true: instead of `alert`, every alert that is raised; critical ones for at most 2 h"), may("minutes", kindNumber, "how long it is silent, min; left out, as long as the alert stands")},
			`{"ref":"k-1","alert":"container-low-mg"}`},
		{machine.VerbClock, "Vouch for the clock, where the configuration lets the keeper do so.", nil, `{"ref":"clk-1"}`},
		{machine.VerbNote, "Record something that makes the estimates less sure.", []FieldDoc{maySystem,
			must("kind", kindName, "`livestock_added`, `livestock_removed`, `medication`, `lights_out`, `salt_mix`, `filter_media` or `other`"),
			may("text", kindText, "a remark")}, `{"ref":"n-1","kind":"livestock_added","text":"two colonies"}`},
	}
}

// fields gives what a verb takes, in the order of the documents.
func (d VerbDoc) fields() []FieldDoc { return append(Common(), d.Fields...) }

func findVerb(name string) (VerbDoc, bool) {
	for _, d := range Verbs() {
		if string(d.Verb) == name {
			return d, true
		}
	}
	return VerbDoc{}, false
}
