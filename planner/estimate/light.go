package estimate

import "time"

// Light is when a system's lights are on: corals calcify faster in the light, so that within a day the level is lowest when
// it goes and highest when it comes, and a test says where in that curve it was taken. The zero Light is a use that is the
// same at every hour.
type Light struct {
	Zone *time.Location // of From; nil = UTC
	From time.Duration  // from local midnight to when it comes
	Long time.Duration  // how long it stays; outside 0..24 h there is no cycle
	// Ratio is the use in the light over that in the dark.
	Ratio float64
}

// Ratios. In corals calcification in the light is about three times that in the dark (median of 108 measurements: J.-P.
// Gattuso, D. Allemand, M. Frankignoulle 1999, Amer. Zool. 39:160-183; cited from memory), and not all use is that of corals:
// toldRatio is our own choice below it. usualRatio, where nobody has said when the light comes, is our own choice of what
// gains most where there is a cycle about then and loses least where there is none.
const (
	toldRatio  = 2.2
	usualRatio = 1.3
)

// ToldLight is that of a keeper who says when the lights are on, as durations from local midnight; to before from goes
// through midnight.
func ToldLight(zone *time.Location, from, to time.Duration) Light {
	const day = 24 * time.Hour
	return Light{Zone: zone, From: from, Long: (to - from + day) % day, Ratio: toldRatio}
}

// UsualLight is that of a keeper of corals who does not: lights come on in the morning and go in the evening (common
// practice), here from 09:00 to 19:00.
func UsualLight(zone *time.Location) Light {
	return Light{Zone: zone, From: 9 * time.Hour, Long: 10 * time.Hour, Ratio: usualRatio}
}

// phase is how many days of use more than on the mean of the day have gone by at t: above 0 in the evening, when the level
// is low, below 0 in the morning. Its mean over the day is 0.
func (l Light) phase(t time.Time) float64 {
	const day = 24 * time.Hour
	if l.Long <= 0 || l.Long >= day || !(l.Ratio > 0) {
		return 0
	}
	if l.Zone != nil {
		t = t.In(l.Zone)
	} else {
		t = t.UTC()
	}
	wall := time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute + time.Duration(t.Second())*time.Second
	since := (wall - l.From%day + 2*day) % day
	share := float64(l.Long) / float64(day)
	dark := 1 / (1 + share*(l.Ratio-1))
	more := (l.Ratio*dark - 1) * share // than the mean, by the end of the light
	if since < l.Long {
		return more * (float64(since)/float64(l.Long) - 0.5)
	}
	return more * (0.5 - float64(since-l.Long)/float64(day-l.Long))
}
