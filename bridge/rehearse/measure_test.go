package rehearse

import (
	"math"
	"testing"
	"time"

	"aliquot/planner/units"
	"aliquot/safety"
)

func series(step time.Duration, levels ...float64) []Sample {
	var out []Sample
	for i, v := range levels {
		out = append(out, Sample{At: start.Add(time.Duration(i) * step), Level: &v})
	}
	return out
}

func TestMeasure(t *testing.T) {
	q := QuantityResult{Target: 8, Band: 0.5, Series: series(time.Hour, 5, 8.5, 7.5, 8.51, 7.0)}
	q.measure(start.Add(time.Hour))
	if q.Start != 5 || q.End != 7 {
		t.Errorf("from %g to %g; want 5 to 7", q.Start, q.End)
	}
	if q.InBandPercent != 50 {
		t.Errorf("%g %% inside; want 50: the band's ends count, what lies before the channels were ready does not", q.InBandPercent)
	}
	if want := math.Sqrt((0.25 + 0.25 + 0.51*0.51 + 1) / 4); math.Abs(q.RMS-want) > 1e-12 {
		t.Errorf("RMS %g; want %g", q.RMS, want)
	}
	if q.Worst != -1 || math.Abs(q.DaySwing-1.51) > 1e-12 || q.Covered != nil {
		t.Errorf("worst %g, swing %g, covered %v; want -1, 1.51, nothing", q.Worst, q.DaySwing, q.Covered)
	}
	never := QuantityResult{Target: 8, Band: 0.5, Series: series(time.Hour, 5, 6)}
	never.measure(time.Time{})
	if never.InBandPercent != 0 || never.RMS != 0 || never.Worst != 0 || never.DaySwing != 0 {
		t.Errorf("judged although no channel was ever ready: %+v", never)
	}
}

func TestMeasureCovers(t *testing.T) {
	s := series(time.Hour, 8, 8, 8)
	for i, believed := range []float64{8.16, 8.17, 7.84} {
		sd := 0.1
		s[i].Believed, s[i].BelievedSD = &believed, &sd
	}
	q := QuantityResult{Target: 8, Band: 0.5, Series: s}
	q.measure(start)
	if q.Covered == nil || math.Abs(*q.Covered-200.0/3) > 1e-9 {
		t.Errorf("covered %v; want two of three within 1.645 standard deviations", q.Covered)
	}
}

// A swing is one within 24 h.
func TestLargestSwing(t *testing.T) {
	for _, c := range []struct {
		name string
		step time.Duration
		want float64
	}{{"within a day", 12 * time.Hour, 2}, {"at a day", 24 * time.Hour, 1}, {"beyond it", 25 * time.Hour, 0}} {
		if got := largestSwing(series(c.step, 7, 8, 9), start); got != c.want {
			t.Errorf("%s: %g; want %g", c.name, got, c.want)
		}
	}
}

func TestResolution(t *testing.T) {
	for q, want := range map[units.Quantity]float64{units.Alkalinity: 0.1, units.Calcium: 5, units.Magnesium: 10, units.Nitrate: 1, units.Potassium: 4} {
		if got := resolution(q, 8); got != want {
			t.Errorf("a kit of %s reads to %g; want %g", q, got, want)
		}
	}
}

func TestPasses(t *testing.T) {
	for code, want := range map[safety.Code]bool{safety.KeptApart: true, safety.NodeOffline: true, safety.Fault: false, safety.RunCap: false, safety.OutOfRange: false} {
		if passes(code) != want {
			t.Errorf("passes(%s) = %v; want %v", code, !want, want)
		}
	}
}
