package trial

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestKitReads(t *testing.T) {
	for _, c := range []struct {
		step, level, noise, want float64
	}{
		{0.1, 8.34, 0, 8.3}, {0.1, 8.34, 0.02, 8.4}, {0.5, 8.3, -0.1, 8}, {0.28, 8.3, 0, 30 * 0.28}, {0.1, 0.3, -2, 0},
	} {
		if got := (kit{step: c.step}).read(c.level, c.noise); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("step %v: %v with noise %v reads %v, want %v", c.step, c.level, c.noise, got, c.want)
		}
	}
}

func TestKitNoise(t *testing.T) {
	for _, c := range []struct {
		name string
		kit  kit
	}{{"Gaussian", kit{sd: 0.2}}, {"Student", kit{sd: 0.2, tails: 5}}} {
		var m moments
		r, beyond := rng(1), 0
		for range 40_000 {
			e := c.kit.noise(r)
			m.add(e)
			if math.Abs(e) > 0.6 {
				beyond++
			}
		}
		if math.Abs(m.mean()) > 0.005 || math.Abs(m.sd()-0.2) > 0.01 {
			t.Errorf("%s: %v ± %v, want 0 ± 0.2", c.name, m.mean(), m.sd())
		}
		if heavy := beyond > 300; heavy != (c.kit.tails > 0) {
			t.Errorf("%s: %d of 40000 beyond 3 sd", c.name, beyond)
		}
	}
}

func TestGrossErrorsComeAsSaid(t *testing.T) {
	k, r, n := kit{sd: 0.001, gross: 0.03}, rng(2), 0
	for range 20_000 {
		e := math.Abs(k.noise(r))
		if e < 0.1 {
			continue
		}
		n++
		if e < grossLeast-0.01 || e > grossMost+0.01 {
			t.Fatalf("a gross error of %v dKH", e)
		}
	}
	if share := float64(n) / 20_000; math.Abs(share-0.03) > 0.005 {
		t.Errorf("share of gross errors %v, want 0.03", share)
	}
}

// What a keeper does comes in order, within the trial, and within what the family says.
func TestDeeds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(Families()).Draw(t, "family")
		seed := rapid.Uint64().Draw(t, "seed")
		w := drawWater(f, rng(seed), Options{})
		k := drawKeeper(f, rng(seed+1), Options{}, &w)
		tests, lastTest, longest := 0, -1, 0
		for i, d := range k.deeds {
			if i > 0 && d.hour < k.deeds[i-1].hour || d.hour < 0 || d.hour >= hours {
				t.Fatalf("%s: deed %d at hour %d", f, i, d.hour)
			}
			if !d.test {
				if d.fraction < 0.05 || d.fraction > 0.2 || d.mix < 6 || d.mix > 12 || math.Abs(d.mix-d.toldMix) > 1.5 {
					t.Fatalf("%s: water change %+v", f, d)
				}
				continue
			}
			if lastTest >= 0 {
				longest = max(longest, d.hour-lastTest)
			}
			if tests++; d.hour == lastTest {
				t.Fatalf("%s: two tests at hour %d", f, d.hour)
			}
			lastTest = d.hour
		}
		longest = max(longest, hours-lastTest) // a holiday may last to the end
		if tests < 8 || longest > 60*24 {      // two holidays of 20 days may follow each other, with gaps beside them
			t.Fatalf("%s: %d tests, %d hours without", f, tests, longest)
		}
		if f == Coarse && longest < 8*24 {
			t.Fatalf("coarse: longest time without a test %d h, want a holiday of 8 days", longest)
		}
		checkTold(t, f, k, &w)
	})
}

func checkTold(t *rapid.T, f Family, k keeper, w *water) {
	if k.kit.sd < 0.1 || k.kit.sd > 0.3 || k.kit.gross < 0.02 || k.kit.gross > 0.04 {
		t.Fatalf("%s: kit %+v", f, k.kit)
	}
	if k.told.TestSD != 0 && k.told.TestSD != k.kit.sd {
		t.Fatalf("%s: told sd %v, kit's %v", f, k.told.TestSD, k.kit.sd)
	}
	share := k.told.Base / w.strength()
	if k.told.Base != 0 && (share < baseLeast || share > baseMost) || k.told.Base == 0 && w.size > alwaysDosed {
		t.Fatalf("%s: dosed %v before, uses %v", f, k.told.Base, w.strength())
	}
	if baseLikelihood(k.told.Base, w) <= 0 {
		t.Fatalf("%s: the told base %v cannot be, says the limit", f, k.told.Base)
	}
}

func TestOptions(t *testing.T) {
	w := drawWater(Growing, rng(3), Options{})
	grown, off := drawWater(Growing, rng(3), Options{GrowthTimes: 3}), drawWater(Growing, rng(3), Options{ToldVolumeOff: 0.2})
	if math.Abs(grown.growth-3*w.growth) > 1e-12 || grown.gain != w.gain {
		t.Errorf("growth %v, tripled %v", w.growth, grown.growth)
	}
	if math.Abs(off.gain-1.2*w.gain) > 1e-12 || off.size != w.size {
		t.Errorf("gain %v, told volume 20 %% off %v", w.gain, off.gain)
	}
	plain := drawKeeper(Moody, rng(4), Options{}, &w)
	noisy := drawKeeper(Moody, rng(4), Options{NoiseTimes: 2}, &w)
	if math.Abs(noisy.kit.sd-2*plain.kit.sd) > 1e-12 {
		t.Errorf("kit sd %v, doubled %v", plain.kit.sd, noisy.kit.sd)
	}
	weekly := drawKeeper(Steady, rng(4), Options{TestEvery: 7}, &w)
	n := 0
	for _, d := range weekly.deeds {
		if d.test {
			n++
		}
	}
	if n < 17 || n > 20 {
		t.Errorf("%d tests with one a week, want 17 to 20 (the first ones come closer)", n)
	}
}

func TestMixedTakesFromAll(t *testing.T) {
	seen := map[law]int{}
	for seed := range uint64(60) {
		w := drawWater(Mixed, rng(seed), Options{})
		seen[w.law]++
	}
	if len(seen) != 3 {
		t.Errorf("laws in 60 mixed tanks: %v, want all three", seen)
	}
}
