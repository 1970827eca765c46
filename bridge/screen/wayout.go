package screen

import (
	"fmt"

	"aliquot/safety"
)

// Subject is what a way out is about: the names that its command needs.
type Subject struct{ Channel, System, Container, Node, Supply, Quantity string }

// WayOut says what ends a reason for which nothing runs; empty where only time does. Commands are those of this program.
func WayOut(code safety.Code, s Subject) string {
	switch code {
	case safety.NotCalibrated:
		return fmt.Sprintf("aliquot calibrate %s --for 60s, three times, then enter what came out", s.Channel)
	case safety.NotPrimed:
		return fmt.Sprintf("aliquot prime %[1]s --into vessel, look at the outlet, then aliquot primed %[1]s", s.Channel)
	case safety.ContainerEmpty:
		return fmt.Sprintf("aliquot refill %s --full", s.Container)
	case safety.ContainerMismatch:
		return fmt.Sprintf("put the right solution in, then aliquot swap %s --full", s.Container)
	case safety.NodeOffline:
		return fmt.Sprintf("look at node %s: its power, its network, its broker account", s.Node)
	case safety.NoProof:
		return fmt.Sprintf("outlet into a vessel, then aliquot prove %s", s.Node)
	case safety.NoTest, safety.StaleTest:
		return fmt.Sprintf("test, then aliquot enter %s VALUE UNIT", s.Quantity)
	}
	return wayOutOfStanding(code, s)
}

// wayOutOfStanding is about what somebody has to look at first.
func wayOutOfStanding(code safety.Code, s Subject) string {
	switch code {
	case safety.Fault:
		return fmt.Sprintf("look at the pump and its line, then aliquot clear %s fault", s.Channel)
	case safety.SupplyCut:
		return fmt.Sprintf("look at the pumps and the tank, then aliquot clear supply:%s, then switch it on where it hangs", s.Supply)
	case safety.SupplyOff:
		return fmt.Sprintf("look at supply relay %s: its power, its network; switch it on where it hangs", s.Supply)
	case safety.OutOfService:
		return fmt.Sprintf("when it is fit again: aliquot clear %s out_of_service, prime, calibrate, test", s.Channel)
	case safety.OnHold:
		return "it ends by itself; sooner with aliquot release and the same name"
	case safety.InterlockActive:
		return "look at what its probe says; a latched one ends with aliquot clear --interlock NAME"
	case safety.ClockUntrusted:
		return "let the system set its clock, or look at it and say aliquot ask clock"
	case safety.SecondOwner:
		return "it passes within seconds of a start; if not, stop the other instance"
	case safety.LinkDown:
		return "see whether the broker runs"
	case safety.LedgerFault:
		return "see to the disk of the ledger; the service's log says more"
	case safety.RetainedCommand:
		return fmt.Sprintf("see who retains commands for node %s, then aliquot clear %s retained_command", s.Node, s.Channel)
	case safety.NotAccepted:
		return "look at what the configuration changes, then aliquot accept configuration"
	case safety.LedgerRestored:
		return "see that the ledger is the right one, then aliquot accept ledger"
	case safety.TooManyRestarts:
		return "see why the service restarts, then aliquot clear all too_many_restarts"
	case safety.DayCap, safety.QuantityCap:
		return "it runs again as the last 24 h move on; a cap met often is a cap to look at"
	case safety.RunCap, safety.RunTimeCap:
		return "more slots a day make runs smaller; see limits in the configuration"
	}
	return ""
}
