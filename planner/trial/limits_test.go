package trial

import (
	"math"
	"testing"
	"time"
)

func TestLikelihoodIsADensity(t *testing.T) {
	for _, k := range []kit{{sd: 0.15, step: 0.1, gross: 0.03}, {sd: 0.3, step: 0.5, gross: 0.04, tails: 4}, {sd: 0.1, step: 0.1, tails: 5}} {
		sum, square := 0.0, 0.0
		for e := -40.0; e < 40; e += 0.001 {
			sum += k.likelihood(e) * 0.001
			square += e * e * k.density(e, k.sd) * 0.001
		}
		if math.Abs(sum-1) > 1e-3 {
			t.Errorf("%+v: integral %v, want 1", k, sum)
		}
		if math.Abs(math.Sqrt(square)-k.sd) > 0.02*k.sd {
			t.Errorf("%+v: sd %v", k, math.Sqrt(square))
		}
	}
	k := kit{sd: 0.15, step: 0.1, gross: 0.03}
	if !(k.likelihood(0) > k.likelihood(0.3) && k.likelihood(1.5) > 1e-3 && k.likelihood(5) < 1e-9) {
		t.Errorf("likelihoods %v, %v, %v, %v at 0, 0.3, 1.5 and 5 dKH", k.likelihood(0), k.likelihood(0.3), k.likelihood(1.5), k.likelihood(5))
	}
}

func TestBaseLikelihood(t *testing.T) {
	for _, c := range []struct{ base, use, want float64 }{
		{1.09, 1, 2}, {1.11, 1, 0}, {0.61, 1, 2}, {0.59, 1, 0}, {0.4, 0.5, 2}, {0, 0.8, 1}, {0, 0.81, 0},
	} {
		w := still(c.use)
		if got := baseLikelihood(c.base, &w); got != c.want {
			t.Errorf("base %v of use %v: %v, want %v", c.base, c.use, got, c.want)
		}
	}
}

func TestResampleFollowsWeights(t *testing.T) {
	k := &Learnable{rng: rng(1)}
	for i := range drawn {
		w := still(1)
		weight := 0.0
		switch i {
		case 10:
			w.size, weight = 2, 3
		case 7000:
			w.size, weight = 3, 1
		}
		k.tanks, k.weight = append(k.tanks, w), append(k.weight, weight)
	}
	k.resample()
	count := map[float64]int{}
	for i := range k.tanks {
		count[k.tanks[i].size]++
	}
	if len(k.tanks) != particles || len(k.weight) != particles || count[2] < 749 || count[2] > 751 || count[2]+count[3] != particles {
		t.Errorf("%d tanks, of use 2 and 3: %v, want %d, three to one", len(k.tanks), count, particles)
	}
}

func TestResampleWithoutAnyFit(t *testing.T) {
	k := &Learnable{rng: rng(1)}
	for range drawn {
		k.tanks, k.weight = append(k.tanks, still(1)), append(k.weight, 0)
	}
	if k.resample(); len(k.tanks) != particles || k.weight[0] != 1 {
		t.Errorf("%d tanks, weight %v", len(k.tanks), k.weight[0])
	}
}

func TestShakeKeepsTheSpread(t *testing.T) {
	k := &Learnable{rng: rng(2)}
	for range particles {
		k.tanks = append(k.tanks, drawWater(Moody, k.rng, Options{}))
	}
	spread := func() (sizes, gains moments) {
		for i := range k.tanks {
			sizes.add(math.Log(k.tanks[i].size))
			gains.add(math.Log(k.tanks[i].gain))
		}
		return sizes, gains
	}
	sizes, gains := spread()
	for range 50 {
		k.shake()
	}
	shaken, shakenGains := spread()
	if math.Abs(shaken.sd()/sizes.sd()-1) > 0.15 || math.Abs(shakenGains.sd()/gains.sd()-1) > 0.15 {
		t.Errorf("after 50 shakes the sd of sizes is %v (was %v), of gains %v (was %v)", shaken.sd(), sizes.sd(), shakenGains.sd(), gains.sd())
	}
}

func TestLearnableIsNotShownTheTruth(t *testing.T) {
	var p Policy = &Learnable{}
	if _, ok := p.(seer); ok {
		t.Error("the learnable limit is shown the truth")
	}
	for _, name := range []string{"never", "hand7", "hand3", "ours"} {
		p, _ := NewPolicy(name)
		_, sees := p.(seer)
		_, knows := p.(insider)
		if sees || knows {
			t.Errorf("%s is told more than a keeper is", name)
		}
	}
}

// A filter that starts from the truth about the family says how sure it is: over trials nine in ten hours lie inside.
func TestLearnableLearns(t *testing.T) {
	sum, n, better := 0.0, 4, 0
	for seed := range uint64(n) {
		s := Run(Steady, 100+seed, Options{}, &Learnable{})
		sum += s.Coverage.Level
		if s.All.RMS < Run(Steady, 100+seed, Options{}, Hand3()).All.RMS {
			better++
		}
	}
	if mean := sum / float64(n); mean < 0.75 {
		t.Errorf("coverage of the level %v, want about 0.9", mean)
	}
	if better < n-1 {
		t.Errorf("better than hand3 in %d of %d trials", better, n)
	}
}

func TestLearnableBeforeATest(t *testing.T) {
	k := &Learnable{}
	k.inform(Steady, 1, Options{}, kit{sd: 0.1, step: 0.1})
	k.Reset(Told{Target: target, MaxRise: 1, MaxFall: 1, CapPerDay: 6, Base: 0.7})
	if _, ok := k.Belief(Start); ok || k.Daily(Start) != 0.7 {
		t.Errorf("gives %v before a test, want the base and no belief", k.Daily(Start))
	}
}

func TestInformedHolds(t *testing.T) {
	w := still(2)
	w.gain, w.level = 1.25, target-3
	k := &Informed{}
	k.see(&w)
	k.Reset(Told{Target: target, MaxRise: 1, MaxFall: 1})
	for _, c := range []struct{ level, want float64 }{{target, 1.6}, {target - 3, 2.4}, {target + 0.5, 1.2}, {target + 9, 0.8}} {
		w.level = c.level
		if got := k.Daily(Start.Add(5 * time.Hour)); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("at %v dKH gives %v, want %v", c.level, got, c.want)
		}
	}
}

func TestInformedIsTheBest(t *testing.T) {
	for _, f := range Families() {
		for seed := uint64(1); seed <= 3; seed++ {
			best := Run(f, seed, Options{}, &Informed{}).Late.RMS
			for _, p := range []Policy{Hand3(), HandWeekly(), &Ours{}} {
				if got := Run(f, seed, Options{}, p).Late.RMS; got < best {
					t.Errorf("%s %d: %T keeps within %v, the informed limit %v", f, seed, p, got, best)
				}
			}
		}
	}
}
