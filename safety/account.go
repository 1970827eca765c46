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
}

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
		most, least := c.Volume, c.Volume
		if ran != nil {
			most, least = c.Rate.VolumeIn(*ran), c.Rate.leastIn(*ran)
		}
		return c.Tolerance.Above(max(worst, most)), c.Tolerance.Below(least)
	case Extra:
		moved := worst
		if ran != nil {
			moved = max(worst, c.Rate.VolumeIn(*ran))
		}
		return c.Tolerance.Above(moved), 0
	default: // reserved, sent, started, unknown, refused
		return c.Tolerance.Above(worst), 0
	}
}
