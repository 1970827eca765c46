package metrics

import "aliquot/safety"

// other is the label of what is in no list.
const other = "other"

// standing lists the codes that can keep a channel, or everything, from running for a while. Each is a series of
// its own with 0 or 1.
var standing = []safety.Code{
	safety.NotCalibrated, safety.NotPrimed, safety.ContainerEmpty, safety.ContainerMismatch, safety.NodeOffline, safety.Fault, safety.SupplyCut, safety.SupplyOff,
	safety.NoProof, safety.OutOfService, safety.OnHold, safety.InterlockActive, safety.ClockUntrusted, safety.SecondOwner,
	safety.LinkDown, safety.LedgerFault, safety.RetainedCommand, safety.NotAccepted, safety.DayCap, safety.QuantityCap,
	safety.RunCap, safety.RunTimeCap, safety.NoTest, safety.StaleTest, safety.AboveBand, safety.Treatment,
	safety.TooManyRestarts, safety.LedgerRestored, safety.Stopping, safety.CourseNotBegun, safety.CourseOver,
}

// momentary lists the codes that concern one run only: they are counted when a run is withheld.
var momentary = []safety.Code{
	safety.ChannelBusy, safety.RestTime, safety.KeptApart, safety.BelowSmallestRun, safety.BadVolume, safety.SlotMissed, safety.SlotServed,
}

// answering lists the codes of answers and problems that withhold no run.
var answering = []safety.Code{
	safety.OK, safety.BadPayload, safety.TooLarge, safety.TooMany, safety.Retained, safety.UnknownVerb, safety.UnknownName,
	safety.MissingUnit, safety.WrongUnit, safety.OutOfRange, safety.NotANumber, safety.Unconfirmed, safety.NeedsConfirm,
	safety.NothingToDo, safety.InThePast, safety.InTheFuture, safety.Started, safety.Provisional, safety.InternalError,
}

func words[T ~string](lists ...[]T) []string {
	var out []string
	for _, list := range lists {
		for _, w := range list {
			out = append(out, string(w))
		}
	}
	return out
}
