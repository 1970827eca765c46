package logbook

import (
	"slices"
	"time"

	"aliquot/bridge/machine"
)

// Pick chooses among what happened. Empty fields choose everything.
type Pick struct {
	Since, Until time.Time // Since is in, Until is not
	Channels     []string
	Kinds        []string
	By           string
	All          bool // with what few people want to read
}

// Kinds lists what an entry can be.
func Kinds() []string {
	return []string{"run", "test", "calibration", "primed", "tube", "refill", "swap", "water_change", "salinity_correction", "hold", "release", "out_of_service", "lockout", "cleared",
		"self_stop_proof", "accepted", "note", "probe", "alert", "clock_confirmed", "started", "stopped", "carried", "answer"}
}

// Unknown is the first kind that there is not, or empty.
func (p Pick) Unknown() string {
	for _, k := range p.Kinds {
		if !slices.Contains(Kinds(), k) {
			return k
		}
	}
	return ""
}

// dull are the kinds that All alone shows, unless they are asked for.
var dull = []string{"answer", "probe", "carried"}

// Entries chooses entries.
func (p Pick) Entries(list []Entry) []Entry {
	var out []Entry
	for _, e := range list {
		if p.wants(e) {
			out = append(out, e)
		}
	}
	return out
}

func (p Pick) wants(e Entry) bool {
	switch {
	case e.At.Before(p.Since), !p.Until.IsZero() && !e.At.Before(p.Until):
		return false
	case len(p.Channels) > 0 && !slices.Contains(p.Channels, e.Channel):
		return false
	case len(p.Kinds) > 0:
		return slices.Contains(p.Kinds, e.Kind) && (p.By == "" || e.By == p.By)
	case p.By != "" && e.By != p.By:
		return false
	}
	return p.All || !slices.Contains(dull, e.Kind)
}

// Rows chooses rows; the end of a run goes with its beginning.
func (p Pick) Rows(rows []machine.Row) []machine.Row {
	var out []machine.Row
	begun := map[string]bool{}
	for _, r := range rows {
		switch b := r.Body.(type) {
		case machine.RunReserved:
			begun[b.Run] = p.wants(entryOf(r, time.UTC))
			if begun[b.Run] {
				out = append(out, r)
			}
			continue
		case machine.RunEnded:
			if wanted, known := begun[b.Run]; known {
				if wanted {
					out = append(out, r)
				}
				continue
			}
		}
		if p.wants(entryOf(r, time.UTC)) {
			out = append(out, r)
		}
	}
	return out
}

// Of is what an entry is about: its channel, else its container, else its system.
func (e Entry) Of() string {
	switch {
	case e.Channel != "":
		return e.Channel
	case e.Container != "":
		return e.Container
	}
	return e.System
}
