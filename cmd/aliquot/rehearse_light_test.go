package main

import (
	"testing"
	"time"

	"aliquot/planner"
)

func TestRehearsedLight(t *testing.T) {
	for _, c := range []struct {
		on           planner.Light
		east         int // hours
		middle, long time.Duration
	}{
		{planner.Light{}, 0, time.Hour, 10 * time.Hour},
		{planner.Light{From: 10 * 60, To: 20 * 60}, 1, 2 * time.Hour, 10 * time.Hour},
		{planner.Light{From: 22 * 60, To: 6 * 60}, 0, -10 * time.Hour, 8 * time.Hour},
		{planner.Light{}, 12, -11 * time.Hour, 10 * time.Hour},
		{planner.Light{From: 1, To: 31}, -11, -44 * time.Minute, time.Hour},
	} {
		middle, long := lit(c.on, time.FixedZone("there", c.east*3600))
		if middle != c.middle || long != c.long {
			t.Errorf("%+v, %d h east: middle %v, long %v, want %v, %v", c.on, c.east, middle, long, c.middle, c.long)
		}
	}
}
