package machine

import (
	"time"

	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Row is one entry of the ledger: something that happened, never changed afterwards. A state is the fold of
// all rows in the order of Seq, live and after a restart alike.
type Row struct {
	Seq     int64          // 1, 2, 3 … without a gap
	ID      string         // unique where not empty: the run's id, or the id of an imported line
	At      time.Time      // wall time, UTC, when it was recorded
	Elapsed safety.Elapsed // the same moment on the true time axis
	Trusted bool           // whether the wall clock was believed then
	By      string         // who asked for it, if anybody said
	Body    Body
}

// Body is what a row says. The set is closed: see bodies in codec.go.
type Body interface{ Kind() string }

// SlotKey names the slot that a row serves, "channel@2027-03-02T09:00", or is empty. The ledger refuses a
// second row with the same key, so that no slot is ever served twice.
func (r Row) SlotKey() string {
	switch b := r.Body.(type) {
	case RunReserved:
		if b.Slot != "" {
			return b.Channel + "@" + b.Slot
		}
	case SlotCarried:
		return b.Channel + "@" + b.Slot
	}
	return ""
}

// Ref is the sender's reference that a row answers, or empty. The ledger refuses a second answer to one
// reference.
func (r Row) Ref() string {
	if b, ok := r.Body.(Answered); ok {
		return b.Ref
	}
	return ""
}

// Purpose says why a run happens.
type Purpose string

// Purposes. Prime, Calibrate, TestRun and Prove are attended: a person stands beside the pump.
const (
	Dose      Purpose = "dose"
	Prime     Purpose = "prime"
	Calibrate Purpose = "calibration"
	Manual    Purpose = "manual"
	TestRun   Purpose = "test"
	Prove     Purpose = "proof"
)

// Outcome says how a run ended.
type Outcome = safety.Outcome

// Outcomes of a run, see safety.
const (
	Finished = safety.Finished
	Partial  = safety.Partial
	Unknown  = safety.Unknown
	NotSent  = safety.NotSent
	Refused  = safety.Refused
	Extra    = safety.Extra
)

// Into says where the outlet was.
type Into string

// Places an outlet can be.
const (
	IntoTank   Into = "tank"
	IntoVessel Into = "vessel"
)

// RunReserved is written and synced before its command is published.
type RunReserved struct {
	Run       string              `json:"run"`
	Channel   string              `json:"channel"`
	Container string              `json:"container"`
	Node      string              `json:"node"`
	Output    int                 `json:"output"`
	Serial    int64               `json:"serial"` // counts up over the site's life, for relays without ids
	Purpose   Purpose             `json:"purpose"`
	Into      Into                `json:"into"`
	Slot      string              `json:"slot,omitempty"` // local wall time of the slot it serves
	Volume    safety.Microlitres  `json:"volume_ul"`      // commanded
	Duration  safety.Milliseconds `json:"duration_ms"`    // commanded
	Longest   safety.Milliseconds `json:"longest_ms"`     // the most the node can be on for it
	Worst     safety.Microlitres  `json:"worst_ul"`       // before the tolerance
	Tolerance safety.Tolerance    `json:"tolerance_permille"`
	Rate      safety.Rate         `json:"rate_nl_s"`
	Offset    safety.Microlitres  `json:"offset_ul,omitempty"`  // expected besides rate × time
	RunsOn    safety.Microlitres  `json:"runs_on_ul,omitempty"` // the most of it; worst_ul holds it already
	CarryNL   int64               `json:"carry_nl"`             // owed to the channel after this run, nanolitres
	DayVolume safety.Microlitres  `json:"day_volume_ul"`        // the daily volume planned then
}

// RunEnded gives a run's outcome. A later row for the same run may only raise Hi.
type RunEnded struct {
	Run      string              `json:"run"`
	Outcome  Outcome             `json:"outcome"`
	Duration safety.Milliseconds `json:"duration_ms,omitempty"` // as the node reported
	Hi       safety.Microlitres  `json:"hi_ul"`                 // the most that may have left the outlet
	Lo       safety.Microlitres  `json:"lo_ul"`                 // the least that surely did
	Reason   string              `json:"reason,omitempty"`
}

// RunPast is a run known from an imported history, or what older runs came to.
type RunPast struct {
	Channel   string              `json:"channel"`
	Happened  time.Time           `json:"happened"`
	Purpose   Purpose             `json:"purpose"`
	Into      Into                `json:"into"`
	Volume    safety.Microlitres  `json:"volume_ul"`
	Duration  safety.Milliseconds `json:"duration_ms,omitempty"`
	Delivered *safety.Microlitres `json:"delivered_ul,omitempty"`
	Outcome   Outcome             `json:"outcome"`
	Sum       *RunSum             `json:"sum,omitempty"` // it stands for several runs, of the ledger itself
}

// SlotCarried is a slot whose due volume was below what the pump can meter: it is owed to a later slot.
type SlotCarried struct {
	Channel string `json:"channel"`
	Slot    string `json:"slot"`
	CarryNL int64  `json:"carry_nl"` // owed after this slot
}

// Test is one manual measurement.
type Test struct {
	System   string         `json:"system"`
	Quantity units.Quantity `json:"quantity"`
	Level    float64        `json:"level"`                 // canonical unit
	Value    float64        `json:"value"`                 // as entered
	Unit     string         `json:"unit"`                  // as entered
	Taken    time.Time      `json:"taken"`                 // when the sample was drawn
	SampleC  *float64       `json:"sample_degc,omitempty"` // temperature that the keeper gave with the value
	Method   string         `json:"method,omitempty"`
	Lot      string         `json:"lot,omitempty"`
	Of       string         `json:"of,omitempty"` // tank (empty), mix, reference
	// Of a reference solution: what it is stated to have, as entered in Unit, and in the canonical unit; 0: not said.
	Stated      float64 `json:"stated,omitempty"`
	StatedLevel float64 `json:"stated_level,omitempty"`
	Confirmed   bool    `json:"confirmed,omitempty"` // the keeper insisted on an unusual value
}

// Calibration records what a channel's runs really delivered, and the rate and offset that follow. A row without an
// offset has none, whatever its trials say: it was folded so when it was written.
type Calibration struct {
	Channel     string             `json:"channel"`
	Trials      []metering.Trial   `json:"trials"`
	Rate        safety.Rate        `json:"rate_nl_s"`
	Offset      safety.Microlitres `json:"offset_ul,omitempty"`  // of every run, besides rate × time
	RunsOn      safety.Microlitres `json:"runs_on_ul,omitempty"` // the most that it can be, at least 0
	Tolerance   safety.Tolerance   `json:"tolerance_permille"`
	Provisional bool               `json:"provisional,omitempty"`
}

// Primed records that liquid was seen at the outlet.
type Primed struct {
	Channel string `json:"channel"`
}

// Tube records new pump tubing: the channel must be primed and calibrated again.
type Tube struct {
	Channel string `json:"channel"`
}

// Refill adds to a container. Remaining, where the keeper stated it, is what the container holds afterwards.
type Refill struct {
	Container string              `json:"container"`
	Added     safety.Microlitres  `json:"added_ul"`
	Remaining *safety.Microlitres `json:"remaining_ul,omitempty"`
}

// Swap replaces a container's contents.
type Swap struct {
	Container  string             `json:"container"`
	Supplement string             `json:"supplement"`
	Remaining  safety.Microlitres `json:"remaining_ul"`
}

// WaterChange replaces water of a system by mix.
type WaterChange struct {
	System string    `json:"system"`
	Taken  time.Time `json:"taken"`
	Until  time.Time `json:"until,omitzero"` // continuous exchange
	Litres float64   `json:"litres"`
	Mix    []Level   `json:"mix,omitempty"`
}

// Level is one quantity's level in its canonical unit.
type Level struct {
	Quantity units.Quantity `json:"quantity"`
	Level    float64        `json:"level"`
}

// SalinityCorrection is fresh water added (positive litres) or removed, or a level that was reached.
type SalinityCorrection struct {
	System string   `json:"system"`
	Litres float64  `json:"litres,omitempty"`
	Level  *float64 `json:"level_psu,omitempty"`
}

// Scope is what a hold, lockout or other standing condition covers: a channel, a system, what an interlock
// blocks, or everything if nothing is named.
type Scope struct {
	Channel   string `json:"channel,omitempty"`
	System    string `json:"system,omitempty"`
	Interlock string `json:"interlock,omitempty"` // lockouts only: a latched interlock
	Supply    string `json:"supply,omitempty"`    // lockouts only: a supply relay, and every channel behind it
}

// Hold pauses a scope until Until.
type Hold struct {
	Scope  Scope               `json:"scope"`
	Reason string              `json:"reason"`
	Until  time.Time           `json:"until"`
	Length safety.Milliseconds `json:"length_ms"` // measured on the true time axis from the row's moment
}

// Release ends the holds of a scope.
type Release struct {
	Scope Scope `json:"scope"`
}

// OutOfService takes a scope out until it is brought back with Cleared.
type OutOfService struct {
	Scope  Scope  `json:"scope"`
	Reason string `json:"reason"`
}

// Lockout latches a reason for which a scope may not run until somebody clears it.
type Lockout struct {
	Scope Scope       `json:"scope"`
	Code  safety.Code `json:"code"`
	Text  string      `json:"text"`
}

// Cleared ends a lockout or an out-of-service state.
type Cleared struct {
	Scope Scope       `json:"scope"`
	Code  safety.Code `json:"code"`
}

// Proof records that a relay was seen to go off by itself.
type Proof struct {
	Channel     string              `json:"channel"`
	Node        string              `json:"node"`
	Output      int                 `json:"output"`
	OnFor       safety.Milliseconds `json:"on_for_ms"`
	Fingerprint string              `json:"fingerprint"` // of the node's configuration: a change voids the proof
}

// Accepted records that the keeper accepted something that needs it.
type Accepted struct {
	What        string `json:"what"`
	Channel     string `json:"channel,omitempty"` // of a placement, and of what is commissioned
	Fingerprint string `json:"fingerprint,omitempty"`
	Text        string `json:"text,omitempty"`
	// Bounds are those of the configuration that were accepted.
	Bounds map[string]float64 `json:"bounds,omitempty"`
}

// ProbeMean is the mean of a batch of readings. Telemetry is batched: a synced row each would wear the card.
type ProbeMean struct {
	Probe string    `json:"probe"`
	From  time.Time `json:"from"`
	Until time.Time `json:"until"`
	Mean  float64   `json:"mean"` // canonical unit
	Count int       `json:"count"`
}

// Note is a remark about a system that may widen uncertainty.
type Note struct {
	System string `json:"system"`
	Note   string `json:"note"` // livestock_added, livestock_removed, medication, lights_out, salt_mix, filter_media, other
	Text   string `json:"text,omitempty"`
}

// Answered records the answer to a request, so that a repeat gets the same one and changes nothing.
type Answered struct {
	Ref    string      `json:"ref"`
	Verb   string      `json:"verb"`
	OK     bool        `json:"ok"`
	Code   safety.Code `json:"code"`
	Text   string      `json:"text"`
	Result string      `json:"result,omitempty"` // JSON
}

// ClockConfirmed records that the keeper vouches for the clock in this process.
type ClockConfirmed struct{}

// DaemonStarted and DaemonStopped frame a process.
type DaemonStarted struct {
	Instance string `json:"instance"`
	Epoch    int64  `json:"epoch"` // counts starts
	Version  string `json:"version"`
	Serial   int64  `json:"serial"` // from which this process counts its commands
	// Bounds are the caps and volumes of the configuration as far as they are accepted, by their keys.
	Bounds map[string]float64 `json:"bounds,omitempty"`
}

// DaemonStopped is written on a clean stop; its absence before the next start means a crash.
type DaemonStopped struct {
	Instance string `json:"instance"`
	Reason   string `json:"reason"`
}

// AlertChanged records an alert before it is sent.
type AlertChanged struct {
	Name         string `json:"name"`
	Level        string `json:"level"` // critical, warning, note
	Raised       bool   `json:"raised"`
	Acknowledged bool   `json:"acknowledged,omitempty"`
	// Silence is how long an acknowledgement holds, on the true time axis; 0: as long as the alert.
	Silence safety.Milliseconds `json:"silence_ms,omitempty"`
	Text    string              `json:"text,omitempty"`
}
