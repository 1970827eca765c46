package trial

import (
	"math"
	"testing"
)

// Alkalinity leads: beside calcium and magnesium it is kept exactly as without them.
func TestAWholeTankKeepsAlkalinityAsItIsAlone(t *testing.T) {
	for _, name := range []string{"ours", "alone"} {
		p, err := NewWhole(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range Families() {
			got, want := RunWhole(f, 5, Options{}, p)[0], Run(f, 5, Options{}, &Ours{})
			if got.All != want.All || got.AtCap != want.AtCap || got.MostADay != want.MostADay || got.Coverage != want.Coverage {
				t.Errorf("%s, %s: %+v in a whole tank, %+v alone", name, f, got, want)
			}
		}
	}
}

// What calcification takes shows in all three: nothing is dosed and no water changed, and they fall in the drawn ratio.
func TestIonsGoWithAlkalinity(t *testing.T) {
	w := drawWater(Steady, randomOf(Steady, 3, streamTank), Options{})
	k := drawKeeper(Steady, randomOf(Steady, 3, streamKeeper), Options{}, &w)
	w.stepRate = 0
	r := whole{water: w, ions: drawIons(randomOf(Steady, 3, streamIons), &w, k.told), drift: randomOf(Steady, 3, streamDrift)}
	for i := range r.meters {
		r.meters[i] = newMeter(target)
	}
	before := r.ions
	for h := range 48 {
		r.pass(h, Start, &handWhole{})
	}
	fell := w.level - r.water.level
	for i := range r.ions {
		if got := before[i].level - r.ions[i].level; math.Abs(got-r.ions[i].share*fell) > 1e-9 {
			t.Errorf("%s falls by %v with %v dKH, want %v", Quantities[1+i], got, fell, r.ions[i].share*fell)
		}
	}
	if ca := r.ions[0].share; ca < 0.85*calciumPerDKH || ca > calciumPerDKH {
		t.Errorf("1 dKH takes %v mg/L of calcium", ca)
	}
}
