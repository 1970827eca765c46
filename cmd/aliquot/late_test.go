package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/planner/units"
)

// What the configuration says of limewater, evaporation and late alkalinity reaches the machine.
func TestLateAlkalinityAndLimewaterReachTheMachine(t *testing.T) {
	l, err := load(filepath.Join("..", "..", "testdata", "config", "good", "evaporation.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	site := machineSite(l.Site)
	if got := site.Systems[0].Evaporation; got != 3000 {
		t.Errorf("evaporation is %g mL a day, want 3000", got)
	}
	for i, want := range []struct {
		id, says    string
		late        float64
		over        time.Duration
		lime, burns bool
	}{
		{"lime", "replaces evaporation", 0, 0, true, true},
		{"formate", "takes oxygen", 1, 24 * time.Hour, false, false},
		{"acetate", "takes oxygen", 0.755, 48 * time.Hour, false, false},
		{"label", "takes oxygen", 1, 36 * time.Hour, false, false},
	} {
		p := site.Supplements[i]
		if p.ID != want.id || p.LateShare < want.late-.001 || p.LateShare > want.late+.001 || p.AppearsOver != want.over || p.Limewater != want.lime || p.Caustic != want.burns {
			t.Errorf("supplement %+v; want %+v", p, want)
		}
		if !strings.Contains(strings.Join(p.Cautions, "\n"), want.says) {
			t.Errorf("the cautions of %s do not say %q: %v", p.ID, want.says, p.Cautions)
		}
		if !(p.Strength[units.Alkalinity] > 0) {
			t.Errorf("%s has no strength", p.ID)
		}
	}
	// Only what acts at once bounds a planned run: limewater does, formate and a label's late alkalinity do not (H-26).
	for i, bounded := range []bool{true, false} {
		if c := site.Channels[i]; c.Gentle > 0 != bounded {
			t.Errorf("channel %s is held to %v a run", c.ID, c.Gentle)
		}
	}
}
