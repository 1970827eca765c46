package report

import (
	"strings"

	"aliquot/bridge/plot"
	"aliquot/safety"
)

// Level writes a level with as many digits as a keeper reads.
func Level(v float64) string { return plot.Figure(v) }

// Small writes a deviation with two digits.
func Small(v float64) string { return plot.Small(v) }

// Signed is Small with its sign.
func Signed(v float64) string { return plot.Signed(v) }

// Plain says in a sentence's words what a code means for a slot.
func Plain(c safety.Code) string {
	if text, ok := plain[c]; ok {
		return text
	}
	return strings.ReplaceAll(string(c), "_", " ")
}

var plain = map[safety.Code]string{
	safety.NotCalibrated:     "the pump is not calibrated yet",
	safety.NotPrimed:         "the line is not primed, or stood still for too long",
	safety.ContainerEmpty:    "the container is down to its stop: refill it",
	safety.ContainerMismatch: "the container holds something else",
	safety.NodeOffline:       "the pump node was not there",
	safety.Fault:             "a fault stands: look at the pump, then clear it",
	safety.NoProof:           "the relay has not proved that it goes off by itself",
	safety.OutOfService:      "it is out of service",
	safety.OnHold:            "it is on hold",
	safety.InterlockActive:   "an interlock blocks it, or its probe is silent",
	safety.LinkDown:          "there was no connection to the broker",
	safety.SecondOwner:       "the service did not own the site yet",
	safety.ClockUntrusted:    "the clock was in doubt",
	safety.ChannelBusy:       "it was still running",
	safety.RestTime:          "it was resting after its last run",
	safety.KeptApart:         "it waited for a channel from which it is kept apart",
	safety.DayCap:            "its cap for 24 h was used up",
	safety.QuantityCap:       "the cap on this quantity for 24 h was used up",
	safety.RunCap:            "the run would have been larger than a run may be",
	safety.RunTimeCap:        "the run would have been longer than a run may be",
	safety.BelowSmallestRun:  "the volume is below what the pump can meter",
	safety.NoTest:            "there is no test to plan from",
	safety.StaleTest:         "the last test is too old",
	safety.AboveBand:         "the level is above its band",
	safety.Treatment:         "the system is in treatment: nothing is raised",
}
