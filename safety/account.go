package safety

// Outcome says how a run ended.
type Outcome string

// Outcomes of a run. Only Finished and Partial come from a node's own report.
const (
	Finished Outcome = "finished"
	Partial  Outcome = "partial"
	Unknown  Outcome = "unknown"
	NotSent  Outcome = "not_sent" // only where the same process knows that it never handed the command over
	Refused  Outcome = "refused"
	Extra    Outcome = "extra" // it went on too long or happened twice: hi was raised
)

// Commanded is what was asked of a pump.
type Commanded struct {
	Volume    Microlitres // to be moved
	Worst     Microlitres // the most the node can move for it, before the tolerance
	Rate      Rate
	Tolerance Tolerance
	// Offset is what a run gives besides rate × time, below 0 where the line drains between runs. RunsOn is the most
	// that it can be, 0 or more; Worst holds it already.
	Offset Microlitres
	RunsOn Microlitres
}

// Moved is what a run of this length gives by the calibration; 0 if it did not run at all.
func (c Commanded) Moved(ran Milliseconds) Microlitres {
	if ran <= 0 {
		return 0
	}
	return max(0, c.Rate.VolumeIn(ran)+c.Offset)
}

// WorstIn is the most that the pump can move in t, before the tolerance. An offset below 0 makes it no smaller: what
// a line lacks after a rest it may not lack after the next.
func (c Commanded) WorstIn(t Milliseconds) Microlitres { return c.Rate.VolumeIn(t) + max(0, c.RunsOn) }

// Account gives the two volumes of a run: hi, the most that may have left the outlet, and lo, the least that
// surely did. ran is the time that the node itself reported; nil if it reported none. Whatever is unknown
// counts in full in hi and not at all in lo, and no report makes hi smaller: a forged, doubled or lost report
// frees no cap.
func Account(c Commanded, o Outcome, ran *Milliseconds) (hi, lo Microlitres) {
	worst := max(c.Worst, c.Volume)
	switch o {
	case NotSent:
		return 0, 0
	case Finished, Partial:
		// What runs on after a stop is not sure to do so each time: it is no part of lo.
		most, least := c.Volume, c.Volume-max(0, c.Offset)
		if ran != nil {
			most, least = c.WorstIn(*ran), c.Rate.leastIn(*ran)+min(0, c.Offset)
		}
		return c.Tolerance.Above(max(worst, most)), c.Tolerance.Below(least)
	case Extra:
		moved := worst
		if ran != nil {
			moved = max(worst, c.WorstIn(*ran))
		}
		return c.Tolerance.Above(moved), 0
	default: // reserved, sent, started, unknown, refused
		return c.Tolerance.Above(worst), 0
	}
}
