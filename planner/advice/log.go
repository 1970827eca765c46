package advice

import "time"

// Use is the estimated consumption at one time, per day, with its standard deviation.
type Use struct {
	At     time.Time
	PerDay float64
	SD     float64
}

const (
	// logMost bounds a log.
	logMost = 60
	// logSlack is how much older than asked for a use may be that stands for it. Our own choice.
	logSlack = 7 * 24 * time.Hour
	// TestsFirst is the number of tests a consumption must rest on to be logged: before that it is half a guess, and
	// coming off a guess looks like a trend. Our own choice.
	TestsFirst = 3
)

// Log holds what the consumption was believed to be, one a local day, oldest first. It is what was believed then: a test
// that comes late changes nothing in it.
type Log []Use

// Add gives the log with one more use, which takes the place of one of the same local day. What is no number, or lies
// before the newest, changes nothing.
func (l Log) Add(u Use, zone *time.Location) Log {
	if !(u.SD > 0 && u.SD < 1e9) || !(u.PerDay >= 0 && u.PerDay < 1e9) {
		return l
	}
	if n := len(l); n > 0 {
		newest := l[n-1].At
		switch {
		case u.At.Before(newest):
			return l
		case localDay(u.At, zone) == localDay(newest, zone):
			return append(append(Log(nil), l[:n-1]...), u)
		}
	}
	return append(append(Log(nil), l[max(0, len(l)+1-logMost):]...), u)
}

// localDay names the day of an instant; without a zone that of UTC.
func localDay(t time.Time, zone *time.Location) string {
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone).Format(time.DateOnly)
}

// Ago is the newest use that is at least d old at a time, and at most a week older than that.
func (l Log) Ago(at time.Time, d time.Duration) (Use, bool) {
	for i := len(l) - 1; i >= 0; i-- {
		if age := at.Sub(l[i].At); age >= d {
			return l[i], age <= d+logSlack
		}
	}
	return Use{}, false
}
