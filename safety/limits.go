package safety

import "time"

// Defaults and hard bounds of the named limits. A default marked "common practice" has no published source.
const (
	// DefaultTolerance is how far a calibrated pump may be off (TOL), permille.
	DefaultTolerance Tolerance = 50
	// ProvisionalTolerance holds while a calibration rests on fewer than three trials.
	ProvisionalTolerance Tolerance = 150

	// DefaultRest is the least time between the end of a channel's run and its next start.
	DefaultRest = 5 * time.Minute
	MinRest     = time.Minute

	// DefaultGap separates incompatible solutions in time; SharedOutletGap where they leave by one outlet
	// (common practice).
	DefaultGap = 15 * time.Minute
	MinGap     = 5 * time.Minute

	// RunMax is the longest run there can be, whatever a configuration says.
	RunMax Milliseconds = 600_000
	// RunTTL is the longest time from the creation of a run to the moment a node may still start it.
	RunTTL = 10 * time.Second
	// AckWait is how long a node may take to report a start; StopWait how long to report an end.
	AckWait  = 5 * time.Second
	StopWait = 3 * time.Second
	// LateMax is the latest a run can still start if it got stuck in a socket or a broker.
	LateMax = 15 * time.Minute
	// GraceMax bounds the lateness in which a due slot may still be served; see Grace.
	GraceMax = 30 * time.Minute

	// Window is the length of the rolling window of the caps.
	Window = 24 * time.Hour

	// ProofAge is how long the proof that a relay goes off by itself is believed.
	ProofAge = 90 * 24 * time.Hour
	// IdleMax is the idle time after which a line counts as drained, unless its own schedule is slower.
	IdleMax = 14 * 24 * time.Hour
	// HoldDefault, HoldLong and HoldMax bound a hold.
	HoldDefault = 2 * time.Hour
	HoldLong    = 4 * time.Hour
	HoldMax     = 24 * time.Hour

	// Beat is how often the owner record and the heartbeat are renewed; OwnerStale is the age at which a
	// foreign owner record no longer counts as live.
	Beat       = 30 * time.Second
	OwnerStale = 3 * Beat

	// PHAlarm is the pH at which nothing more is given that raises it; no interlock may wait for a higher one.
	PHAlarm = 8.60

	// ProbeAge and FutureSkew bound a reading's age.
	ProbeAge   = 10 * time.Minute
	FutureSkew = 2 * time.Minute

	// AttendedPerRun and AttendedPerDay hold where a channel declares no `attended` limits.
	AttendedPerRun = 60 * Millilitre
	AttendedPerDay = 700 * Millilitre
	// UncalibratedRunMax and UncalibratedRate bound attended runs of a channel without any rate: 30 s at
	// 120 mL/min.
	UncalibratedRunMax Milliseconds = 30_000
	UncalibratedRate   Rate         = 2_000_000

	// MaxPayload is the largest message that is read at all.
	MaxPayload = 4 << 10
)

// Grace is the lateness in which a due slot may still be served: the smaller of GraceMax and a quarter of
// the interval to the next slot.
func Grace(interval time.Duration) time.Duration { return min(GraceMax, interval/4) }
