package rehearse

import (
	"math"
	"testing"
	"time"
)

// Over a rehearsal that is longer than one look back, what was known afterwards is nearer to the truth than what was
// believed then; in the end both are the same, but for what the order of runs within hours does.
func TestAfterwardsIsNearerToTheTruth(t *testing.T) {
	o := bayOptions(t, 33, 5)
	o.Afterwards = true
	r := rehearsed(t, o)
	alk := r.Quantities[0]
	var then, later, known, all float64
	for i, s := range alk.Series {
		if i%samplesApart != 0 || s.Believed == nil {
			continue
		}
		all++
		if s.Afterwards == nil {
			continue
		}
		known++
		if s.At.Sub(start) < 5*24*time.Hour {
			continue
		}
		then += (*s.Believed - *s.Level) * (*s.Believed - *s.Level)
		later += (*s.Afterwards - *s.Level) * (*s.Afterwards - *s.Level)
	}
	if known < 0.98*all || known == 0 {
		t.Errorf("%g of %g samples were seen again afterwards", known, all)
	}
	if !(later < then) {
		t.Errorf("squared errors: %.3f then, %.3f afterwards; want less", then, later)
	}
	end := alk.Series[len(alk.Series)-1]
	if end.Afterwards != nil && math.Abs(*end.Afterwards-*end.Believed) > 1e-3 {
		t.Errorf("in the end %g is known, %g believed; want the same", *end.Afterwards, *end.Believed)
	}

	again := Replay(o.Site, r.Rows)
	found := 0
	for _, s := range again.Quantities[0].Series {
		if s.Afterwards != nil {
			found++
		}
	}
	if found < 100 {
		t.Errorf("a replay saw %d of %d samples again", found, len(again.Quantities[0].Series))
	}

	o = bayOptions(t, 2, 5)
	for _, s := range rehearsed(t, o).Quantities[0].Series {
		if s.Afterwards != nil {
			t.Fatal("what was known afterwards was worked out though nobody asked")
		}
	}
}
