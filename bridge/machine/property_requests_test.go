package machine_test

import (
	"time"

	"aliquot/bridge/machine"

	"pgregory.net/rapid"
)

// request asks for something, sensible or not.
func (w *world) request() {
	verb := rapid.SampledFrom(machine.Verbs()).Draw(w.t, "verb")
	q := w.sensible(verb)
	if w.chance("mangled", 15) {
		w.mangle(&q)
	}
	if w.chance("again", 10) && w.r.refs > 0 {
		q.Ref = "k1"
	}
	if w.chance("crossed", 5) { // one verb's fields for another verb
		verb = rapid.SampledFrom(append(machine.Verbs(), "sing")).Draw(w.t, "other verb")
	}
	w.r.ask(verb, q)
}

// sensible draws what a keeper might well ask. What it says of calibrations is true: A5.
func (w *world) sensible(verb machine.Verb) machine.Request {
	t, r := w.t, w.r
	channel := rapid.SampledFrom(channelIDs).Draw(t, "channel")
	container := rapid.SampledFrom(r.site.Containers).Draw(t, "container")
	q := machine.Request{By: "keeper", Confirm: w.chance("confirm", 70)}
	switch verb {
	case machine.VerbTest:
		w.measured(&q)
	case machine.VerbWaterChange:
		q.VolumeL = ref(rapid.Float64Range(1, 100).Draw(t, "litres"))
		q.Mix = map[string]machine.Measure{"alkalinity": {Value: 8, Unit: "dKH"}, "salinity": {Value: 35, Unit: "psu"}}
	case machine.VerbPrime, machine.VerbCalibrate, machine.VerbRun, machine.VerbProve:
		q.Channel, q.Into, q.Seconds = channel, rapid.SampledFrom([]string{"vessel", "tank", ""}).Draw(t, "into"), ref(rapid.Float64Range(.2, 70).Draw(t, "seconds"))
		if verb == machine.VerbCalibrate && w.chance("trials", 60) {
			w.trials(&q)
		}
	case machine.VerbPrimed, machine.VerbTube:
		q.Channel = channel
	case machine.VerbRefill:
		q.Container = container.ID
		w.filled(&q)
	case machine.VerbSwap:
		q.Container, q.Full = container.ID, true
		if w.chance("another", 30) {
			q.Supplement = rapid.SampledFrom(r.site.Supplements).Draw(t, "supplement").ID
		}
	case machine.VerbHold, machine.VerbRelease, machine.VerbOutOfService, machine.VerbStop, machine.VerbClear:
		w.scope(&q, channel)
		q.Reason = "a reason"
		q.Minutes = ref(rapid.Float64Range(.1, 1500).Draw(t, "minutes"))
		if verb != machine.VerbHold {
			q.Minutes = nil
		}
	case machine.VerbAccept:
		q.What = "ledger"
	case machine.VerbAcknowledge:
		q.Alert = rapid.SampledFrom([]string{"clock", "lockout-alk-fault", "interlock-ph-high", "nothing"}).Draw(t, "alert")
	case machine.VerbNote:
		q.Kind = rapid.SampledFrom([]string{"livestock_added", "medication", "other", "weather"}).Draw(t, "note")
	}
	return q
}

func (w *world) measured(q *machine.Request) {
	t := w.t
	switch rapid.IntRange(0, 2).Draw(t, "quantity") {
	case 0:
		q.Quantity, q.Value, q.Unit = "alkalinity", ref(rapid.Float64Range(3, 17).Draw(t, "dKH")), rapid.SampledFrom([]string{"dKH", "meq/L", "ppm CaCO3", ""}).Draw(t, "unit")
	case 1:
		q.Quantity, q.Value, q.Unit = "calcium", ref(rapid.Float64Range(240, 660).Draw(t, "calcium")), "mg/L"
	default:
		q.Quantity, q.Value, q.Unit = "magnesium", ref(rapid.Float64Range(700, 1900).Draw(t, "magnesium")), "mg/L"
	}
	if w.chance("earlier", 30) {
		q.At = ref(w.r.trueTime().Add(w.r.offset - time.Duration(rapid.IntRange(-60, 6000).Draw(t, "age"))*time.Minute))
	}
}

func (w *world) trials(q *machine.Request) {
	rate := boardRate
	if q.Channel == "mg" {
		rate = relayRate
	}
	n := rapid.IntRange(1, 4).Draw(w.t, "trials")
	for range n {
		s := rapid.Float64Range(10, 60).Draw(w.t, "trial")
		q.Trials = append(q.Trials, machine.Trial{Seconds: s, MeasuredML: s / 60 * rate * rapid.Float64Range(.99, 1.01).Draw(w.t, "read")})
	}
}

func (w *world) filled(q *machine.Request) {
	switch rapid.IntRange(0, 2).Draw(w.t, "how full") {
	case 0:
		q.Full = true
	case 1:
		q.RemainingML = ref(rapid.Float64Range(0, 5500).Draw(w.t, "remaining"))
	default:
		q.VolumeML = ref(rapid.Float64Range(0, 5500).Draw(w.t, "added"))
	}
}

func (w *world) scope(q *machine.Request, channel string) {
	switch rapid.IntRange(0, 3).Draw(w.t, "scope") {
	case 0, 1:
		q.Channel = channel
	case 2:
		q.System = "reef"
	default:
		q.All = true
	}
}

// mangle makes a request wrong in one way.
func (w *world) mangle(q *machine.Request) {
	odd := rapid.SampledFrom([]float64{-1, 0, 1e-300, 1e300}).Draw(w.t, "odd")
	switch rapid.IntRange(0, 6).Draw(w.t, "mangle") {
	case 0:
		q.Channel, q.Container, q.System = "nobody", "nothing", "nowhere"
	case 1:
		q.VolumeML, q.Seconds = &odd, nil
	case 2:
		q.Seconds, q.Value, q.VolumeL, q.Minutes, q.RemainingML = &odd, &odd, &odd, &odd, &odd
	case 3:
		q.Into, q.Unit, q.Quantity, q.Kind = "bath", "stone", "joy", "fun"
	case 4:
		q.Trials = []machine.Trial{{Seconds: odd, MeasuredML: odd}}
	case 5:
		q.All, q.Channel, q.System = true, "alk", "reef"
	default:
		*q = machine.Request{}
	}
}
