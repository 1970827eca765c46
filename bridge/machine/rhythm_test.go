package machine

import (
	"fmt"
	"testing"
	"time"

	"github.com/robfig/cron/v3"

	"aliquot/planner"
)

// Every calendar gets its own answer, remembered or not, beyond the count that is kept too.
func TestRhythms(t *testing.T) {
	var known rhythms
	start := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	for n := range 3 * rhythmsKept {
		schedule, err := cron.ParseStandard(fmt.Sprintf("%d %d,%d * * *", n%60, n%7, 8+n%11))
		if err != nil {
			t.Fatal(err)
		}
		c := planner.Calendar{Schedule: schedule, Zone: time.UTC, EveryDays: 1 + n%2, Night: planner.Night{To: n % 3 * 60, Share: .5}}
		for range 2 {
			if r := known.of(c); r.longestGap != longestGap(c) || r.peak != c.Peak(start) {
				t.Fatalf("calendar %d: %+v, want %s and %+v", n, r, longestGap(c), c.Peak(start))
			}
		}
	}
	if len(known) != rhythmsKept {
		t.Errorf("%d are kept, want %d", len(known), rhythmsKept)
	}
}
