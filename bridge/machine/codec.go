package machine

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
)

func (RunReserved) Kind() string        { return "run_reserved" }
func (RunEnded) Kind() string           { return "run_ended" }
func (RunPast) Kind() string            { return "run_past" }
func (SlotCarried) Kind() string        { return "slot_carried" }
func (Test) Kind() string               { return "test" }
func (Calibration) Kind() string        { return "calibration" }
func (Primed) Kind() string             { return "primed" }
func (Tube) Kind() string               { return "tube" }
func (Refill) Kind() string             { return "refill" }
func (Swap) Kind() string               { return "swap" }
func (WaterChange) Kind() string        { return "water_change" }
func (SalinityCorrection) Kind() string { return "salinity_correction" }
func (Hold) Kind() string               { return "hold" }
func (Release) Kind() string            { return "release" }
func (OutOfService) Kind() string       { return "out_of_service" }
func (Lockout) Kind() string            { return "lockout" }
func (Cleared) Kind() string            { return "cleared" }
func (Proof) Kind() string              { return "self_stop_proof" }
func (Accepted) Kind() string           { return "accepted" }
func (ProbeMean) Kind() string          { return "probe" }
func (Note) Kind() string               { return "note" }
func (Answered) Kind() string           { return "answered" }
func (ClockConfirmed) Kind() string     { return "clock_confirmed" }
func (DaemonStarted) Kind() string      { return "daemon_started" }
func (DaemonStopped) Kind() string      { return "daemon_stopped" }
func (AlertChanged) Kind() string       { return "alert" }

// EncodeBody gives the JSON form in which the ledger keeps a body.
func EncodeBody(b Body) ([]byte, error) { return json.Marshal(b) }

// DecodeBody is the inverse of EncodeBody. An unknown kind or field is an error: the ledger was written by a
// newer program, or is damaged.
func DecodeBody(kind, text string) (Body, error) {
	if b, ok := plainBody(kind, text); ok {
		return b, nil
	}
	decode, ok := decoders[kind]
	if !ok {
		return nil, fmt.Errorf("unknown kind of row %q", kind)
	}
	b, err := decode([]byte(text))
	if err != nil {
		return nil, fmt.Errorf("row of kind %q: %w", kind, err)
	}
	return b, nil
}

var decoders = map[string]func([]byte) (Body, error){
	RunReserved{}.Kind():        decodeAs[RunReserved],
	RunEnded{}.Kind():           decodeAs[RunEnded],
	RunPast{}.Kind():            decodeAs[RunPast],
	SlotCarried{}.Kind():        decodeAs[SlotCarried],
	Test{}.Kind():               decodeAs[Test],
	Calibration{}.Kind():        decodeAs[Calibration],
	Primed{}.Kind():             decodeAs[Primed],
	Tube{}.Kind():               decodeAs[Tube],
	Refill{}.Kind():             decodeAs[Refill],
	Swap{}.Kind():               decodeAs[Swap],
	WaterChange{}.Kind():        decodeAs[WaterChange],
	SalinityCorrection{}.Kind(): decodeAs[SalinityCorrection],
	Hold{}.Kind():               decodeAs[Hold],
	Release{}.Kind():            decodeAs[Release],
	OutOfService{}.Kind():       decodeAs[OutOfService],
	Lockout{}.Kind():            decodeAs[Lockout],
	Cleared{}.Kind():            decodeAs[Cleared],
	Proof{}.Kind():              decodeAs[Proof],
	Accepted{}.Kind():           decodeAs[Accepted],
	ProbeMean{}.Kind():          decodeAs[ProbeMean],
	Note{}.Kind():               decodeAs[Note],
	Answered{}.Kind():           decodeAs[Answered],
	ClockConfirmed{}.Kind():     decodeAs[ClockConfirmed],
	DaemonStarted{}.Kind():      decodeAs[DaemonStarted],
	DaemonStopped{}.Kind():      decodeAs[DaemonStopped],
	AlertChanged{}.Kind():       decodeAs[AlertChanged],
}

func decodeAs[B Body](data []byte) (Body, error) {
	var b B
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&b); err != nil {
		return nil, err
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("more than one JSON value")
	}
	return b, nil
}
