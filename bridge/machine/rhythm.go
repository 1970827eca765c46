package machine

import (
	"reflect"
	"time"

	"aliquot/planner"
)

// rhythm is what a calendar's slots come to. It takes some milliseconds to find.
type rhythm struct {
	calendar   planner.Calendar
	longestGap time.Duration
	peak       planner.Peak
}

// rhythms are those of calendars met before: the channels of a farm have few that differ.
type rhythms []rhythm

// rhythmsKept bounds the search where every channel has its own calendar (our own choice).
const rhythmsKept = 64

func (k *rhythms) of(c planner.Calendar) rhythm {
	for _, r := range *k {
		if reflect.DeepEqual(r.calendar, c) {
			return r
		}
	}
	r := rhythm{calendar: c, longestGap: longestGap(c), peak: c.Peak(time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC))}
	if len(*k) < rhythmsKept {
		*k = append(*k, r)
	}
	return r
}
