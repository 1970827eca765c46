package safety

import (
	"testing"

	"pgregory.net/rapid"
)

func TestAccountWithAnOffset(t *testing.T) {
	const tenSeconds Milliseconds = 10_000 // 2 mL at this rate
	ran := func(ms Milliseconds) *Milliseconds { return &ms }
	drains := Commanded{Volume: 1500, Worst: 2000, Rate: 200_000, Tolerance: 50, Offset: -500}
	runsOn := Commanded{Volume: 2500, Worst: 2700, Rate: 200_000, Tolerance: 50, Offset: 500, RunsOn: 700}
	for _, c := range []struct {
		name    string
		c       Commanded
		o       Outcome
		ran     *Milliseconds
		hi, lo  Microlitres
		moved   Microlitres
		atWorst Microlitres
	}{
		{"drains, unknown", drains, Unknown, nil, 2100, 0, 1500, 2000},
		{"drains, as commanded", drains, Finished, ran(tenSeconds), 2100, 1425, 1500, 2000},
		{"drains, no time reported", drains, Finished, nil, 2100, 1425, 1500, 2000},
		{"drains, longer", drains, Finished, ran(20_000), 4200, 3325, 3500, 4000},
		{"drains, hardly begun", drains, Partial, ran(1000), 2100, 0, 0, 200},
		{"runs on, unknown", runsOn, Unknown, nil, 2835, 0, 2500, 2700},
		{"runs on, as commanded", runsOn, Finished, ran(tenSeconds), 2835, 1900, 2500, 2700},
		{"runs on, no time reported", runsOn, Finished, nil, 2835, 1900, 2500, 2700},
		{"runs on, longer", runsOn, Extra, ran(20_000), 4935, 0, 4500, 4700},
		{"runs on, cut at once", runsOn, Partial, ran(1), 2835, 0, 501, 701},
		{"never ran", runsOn, Partial, ran(0), 2835, 0, 0, 700},
		{"not sent", runsOn, NotSent, nil, 0, 0, 2500, 2700},
	} {
		t.Run(c.name, func(t *testing.T) {
			if hi, lo := Account(c.c, c.o, c.ran); hi != c.hi || lo != c.lo {
				t.Errorf("Account = %s, %s; want %s, %s", hi, lo, c.hi, c.lo)
			}
			d := tenSeconds
			if c.ran != nil {
				d = *c.ran
			}
			if moved, worst := c.c.Moved(d), c.c.WorstIn(d); moved != c.moved || worst != c.atWorst {
				t.Errorf("Moved %s, WorstIn %s; want %s, %s", moved, worst, c.moved, c.atWorst)
			}
		})
	}
}

// What really leaves lies between lo and hi for either sign of the offset, and whether or not liquid runs on this time.
func TestAccountHoldsTheTruth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Commanded{Rate: Rate(rapid.Int64Range(200, 80_000_000).Draw(t, "rate")), Tolerance: Tolerance(rapid.Int64Range(10, 250).Draw(t, "tol")),
			Offset: Microlitres(rapid.Int64Range(-5000, 5000).Draw(t, "offset"))}
		c.RunsOn = max(0, c.Offset) + Microlitres(rapid.Int64Range(0, 1000).Draw(t, "unsure"))
		d := Milliseconds(rapid.Int64Range(1, 600_000).Draw(t, "ms"))
		c.Volume = max(1, c.Moved(d))
		c.Worst = max(c.Volume, c.WorstIn(d))
		hi, lo := Account(c, Finished, &d)
		given := Microlitres(rapid.Int64Range(int64(min(0, c.Offset)), int64(c.RunsOn)).Draw(t, "this time"))
		if truth := max(0, c.Rate.leastIn(d)+given); truth > hi || truth < lo {
			t.Fatalf("%+v for %d ms gives %s, booked %s to %s", c, d, truth, lo, hi)
		}
		without := c
		without.Offset, without.RunsOn, without.Worst, without.Volume = 0, 0, c.Rate.VolumeIn(d), max(1, c.Rate.VolumeIn(d))
		if least, _ := Account(without, Finished, &d); hi < least {
			t.Fatalf("%+v books %s, below the %s of rate × time", c, hi, least)
		}
	})
}
