package machine

import (
	"time"

	"aliquot/safety"
)

// Event is something that happened, at an instant that it carries itself.
type Event interface{ event() }

type (
	// Booted is the first event of a process, after Fold.
	Booted struct {
		Instance   string // unique to this process
		LedgerLost string // why the ledger may be older than what was dosed, else empty (H-40)
	}

	// Woke is a timer or a cron tick: the machine looks what is due. It comes at least every 15 s.
	Woke struct{}

	// LinkChanged says that the broker connection opened (all subscriptions granted) or closed.
	LinkChanged struct{ Up bool }

	// OwnerSeen is a retained owner record read from the broker.
	OwnerSeen struct {
		Instance string
		Epoch    int64
		At       time.Time
		Gone     bool // an empty record
	}

	// Asked is a request that could be parsed.
	Asked struct{ Request Request }

	// Misread is a message that could not be used: the shell says where and why.
	Misread struct {
		Topic string
		Code  safety.Code
		Text  string
		Ref   string // the sender's, if it could be read
	}

	// ProbeRead is one reading in the probe's canonical unit. Text is what was found if it was no number.
	ProbeRead struct {
		Probe    string
		Value    float64
		Bad      string // why the value cannot be used, else empty
		Retained bool
	}

	// LevelRead is one reading of a container's scale or level sensor.
	LevelRead struct {
		Container string
		Volume    safety.Microlitres
		AtMost    bool   // a float switch: no more than Volume is there, and nothing else is known
		Bad       string // why the reading cannot be used, else empty
		Retained  bool
	}

	// Readings are ProbeRead and LevelRead events that came together, in their order; anything else among them is ignored.
	Readings []Event

	// NodeOnline is a node's own word about itself.
	NodeOnline struct {
		Node string
		Up   bool
	}

	// Reported is a bounded-run node's report.
	Reported struct {
		Node    string
		Run     string
		State   ReportState
		Reason  string
		Seconds *float64 // run time, where the report carries it
		Boot    int64
		Seq     int64
	}

	// Switched is the state topic of a switch.
	Switched struct {
		Node     string
		Output   int
		On       bool
		Retained bool
	}

	// CommandSeen is a message on one of our own command topics.
	CommandSeen struct {
		Node     string
		Output   int
		Stop     bool   // it was seen on the stop topic
		Run      string // the run id in it, if one could be read
		Serial   int64  // the serial in it, if one could be read
		Retained bool
		Empty    bool // an empty payload: a retained message was removed
	}

	// SendFailed says that a run's command was never handed to the MQTT client.
	SendFailed struct{ Run string }

	// AlertWay says that a way beside the broker carries no alerts, or that it does again: then Why is empty.
	AlertWay struct{ Way, Why string }

	// LedgerBroke says that an append failed: nothing behind it was done.
	LedgerBroke struct{ Text string }

	// Stopping asks for an orderly end.
	Stopping struct{ Reason string }
)

func (Booted) event()      {}
func (Woke) event()        {}
func (LinkChanged) event() {}
func (OwnerSeen) event()   {}
func (Asked) event()       {}
func (Misread) event()     {}
func (ProbeRead) event()   {}
func (LevelRead) event()   {}
func (Readings) event()    {}
func (NodeOnline) event()  {}
func (Reported) event()    {}
func (Switched) event()    {}
func (CommandSeen) event() {}
func (SendFailed) event()  {}
func (AlertWay) event()    {}
func (LedgerBroke) event() {}
func (Stopping) event()    {}

// ReportState is what a bounded-run node says of a run.
type ReportState string

// States of a report.
const (
	ReportStarted  ReportState = "started"
	ReportFinished ReportState = "finished"
	ReportStopped  ReportState = "stopped"
	ReportRefused  ReportState = "refused"
)

// Verb names a request.
type Verb string

// Verbs. The set is closed.
const (
	VerbTest         Verb = "test"
	VerbWaterChange  Verb = "water-change"
	VerbPrime        Verb = "prime"
	VerbPrimed       Verb = "primed"
	VerbCalibrate    Verb = "calibrate"
	VerbProve        Verb = "prove"
	VerbRefill       Verb = "refill"
	VerbSwap         Verb = "swap"
	VerbTube         Verb = "tube"
	VerbHold         Verb = "hold"
	VerbRelease      Verb = "release"
	VerbOutOfService Verb = "out-of-service"
	VerbRun          Verb = "run"
	VerbStop         Verb = "stop"
	VerbClear        Verb = "clear"
	VerbCut          Verb = "cut"
	VerbAccept       Verb = "accept"
	VerbAcknowledge  Verb = "acknowledge"
	VerbClock        Verb = "clock"
	VerbNote         Verb = "note"
)

// Verbs lists every verb, in the order of the documents.
func Verbs() []Verb {
	return []Verb{VerbTest, VerbWaterChange, VerbPrime, VerbPrimed, VerbCalibrate, VerbProve, VerbRefill, VerbSwap,
		VerbTube, VerbHold, VerbRelease, VerbOutOfService, VerbRun, VerbStop, VerbClear, VerbCut, VerbAccept, VerbAcknowledge,
		VerbClock, VerbNote}
}

// Request is what somebody asks for: one struct for all verbs, since they share most of their fields. Which
// fields a verb takes is in bridge/topics, which refuses all others. Pointers are nil where the sender left the
// field out.
type Request struct {
	Verb Verb       `json:"-"`
	Ref  string     `json:"ref"`          // the sender's, unique per site for 400 days
	By   string     `json:"by,omitempty"` // who asks
	At   *time.Time `json:"at,omitempty"` // when it happened (a sample was drawn), if not now

	System    string `json:"system,omitempty"`
	Channel   string `json:"channel,omitempty"`
	Container string `json:"container,omitempty"`
	All       bool   `json:"all,omitempty"` // hold, release, stop: everything

	Quantity string   `json:"quantity,omitempty"`
	Value    *float64 `json:"value,omitempty"`
	Unit     string   `json:"unit,omitempty"`
	SampleAt *Measure `json:"temperature,omitempty"` // of the sample, or what the meter compensates to
	Method   string   `json:"method,omitempty"`
	Lot      string   `json:"lot,omitempty"`
	Of       string   `json:"of,omitempty"`
	Stated   *float64 `json:"stated,omitempty"` // of a reference solution, in Unit

	VolumeML    *float64           `json:"volume_ml,omitempty"`
	RemainingML *float64           `json:"remaining_ml,omitempty"`
	Full        bool               `json:"full,omitempty"`
	VolumeL     *float64           `json:"volume_l,omitempty"`
	Mix         map[string]Measure `json:"mix,omitempty"`

	Seconds    *float64 `json:"seconds,omitempty"`
	Into       string   `json:"into,omitempty"`
	Trials     []Trial  `json:"trials,omitempty"`
	DensityKgL *float64 `json:"density_kg_per_l,omitempty"` // of the solution that was weighed
	WaterC     *float64 `json:"water_celsius,omitempty"`    // of the plain water that was weighed
	Supplement string   `json:"supplement,omitempty"`

	Reason  string     `json:"reason,omitempty"`
	Minutes *float64   `json:"minutes,omitempty"`
	Until   *time.Time `json:"until,omitempty"`
	Code    string     `json:"code,omitempty"`
	Alert   string     `json:"alert,omitempty"`
	What    string     `json:"what,omitempty"`
	Kind    string     `json:"kind,omitempty"`
	Text    string     `json:"text,omitempty"`
	Confirm bool       `json:"confirm,omitempty"`
}

// Measure is a value with its unit.
type Measure struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// Trial is one calibration run: how long the pump ran, and what came out, read off a vessel or a scale. What was not
// read is 0.
type Trial struct {
	Seconds    float64 `json:"seconds"`
	MeasuredML float64 `json:"measured_ml,omitempty"`
	MeasuredG  float64 `json:"measured_g,omitempty"`
}
