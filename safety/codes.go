package safety

// Code is one word of the closed list that answers, withheld runs, lockouts, metrics and documents share.
type Code string

// Codes of answers to requests.
const (
	OK            Code = "ok"
	BadPayload    Code = "bad_payload"    // not JSON, wrong types, unknown fields, too deep, trailing bytes
	TooLarge      Code = "too_large"      // over the size limit
	TooMany       Code = "too_many"       // over the rate limit
	Retained      Code = "retained"       // a request or reading with the retain flag, or a retained run command
	UnknownVerb   Code = "unknown_verb"   //
	UnknownName   Code = "unknown_name"   // no such system, channel, container, quantity, node, probe
	MissingUnit   Code = "missing_unit"   //
	WrongUnit     Code = "wrong_unit"     // the unit belongs to another kind of measure
	OutOfRange    Code = "out_of_range"   // finite but outside what is possible or allowed
	NotANumber    Code = "not_a_number"   // NaN, infinite, text, decimal comma
	Unconfirmed   Code = "unconfirmed"    // taken, but held back until a second test agrees
	NeedsConfirm  Code = "needs_confirm"  // repeat the request with "confirm": true
	NothingToDo   Code = "nothing_to_do"  //
	InThePast     Code = "in_the_past"    //
	InTheFuture   Code = "in_the_future"  //
	Started       Code = "started"        // an attended run was sent
	Provisional   Code = "provisional"    // a calibration of fewer than three trials, or not sure of its rate
	InternalError Code = "internal_error" // a bug of ours; nothing was changed
)

// Codes for which a run is withheld. Those that stay until somebody clears them are lockouts.
const (
	NotCalibrated     Code = "not_calibrated"
	NotPrimed         Code = "not_primed"
	ContainerEmpty    Code = "container_empty"
	ContainerMismatch Code = "container_mismatch"
	NodeOffline       Code = "node_offline"
	Fault             Code = "fault"
	SupplyCut         Code = "supply_cut" // its supply relay was opened from here
	SupplyOff         Code = "supply_off" // its supply relay is not seen on
	NoProof           Code = "no_self_stop_proof"
	OutOfService      Code = "out_of_service"
	OnHold            Code = "hold"
	InterlockActive   Code = "interlock"
	ClockUntrusted    Code = "clock_untrusted"
	SecondOwner       Code = "second_owner"
	LinkDown          Code = "link_down"
	LedgerFault       Code = "ledger_fault"
	RetainedCommand   Code = "retained_command"
	NotAccepted       Code = "not_accepted"
	ChannelBusy       Code = "busy"
	RestTime          Code = "rest"
	KeptApart         Code = "kept_apart"
	DayCap            Code = "day_cap"
	QuantityCap       Code = "quantity_cap"
	RunCap            Code = "run_cap"
	RunTimeCap        Code = "run_time_cap"
	BelowSmallestRun  Code = "below_smallest_run"
	BadVolume         Code = "bad_volume"
	NoTest            Code = "no_test"
	StaleTest         Code = "stale_test"
	AboveBand         Code = "above_band"
	Treatment         Code = "treatment"
	SlotMissed        Code = "slot_missed"
	SlotServed        Code = "slot_served"
	TooManyRestarts   Code = "too_many_restarts"
	LedgerRestored    Code = "ledger_restored"
	Stopping          Code = "stopping"
	CourseNotBegun    Code = "course_not_begun"
	CourseOver        Code = "course_over"
)

// Lockout says whether what is withheld for this reason stays withheld until somebody does something about it.
func (c Code) Lockout() bool {
	switch c {
	case NotCalibrated, NotPrimed, ContainerEmpty, ContainerMismatch, Fault, SupplyCut, NoProof, OutOfService, RetainedCommand,
		NotAccepted, LedgerFault, LedgerRestored, TooManyRestarts:
		return true
	}
	return false
}
