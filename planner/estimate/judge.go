package estimate

import (
	"math"
	"time"
)

const (
	// farSDs: a test further from the prediction than this many sd, and than the quantity's outlier distance,
	// is held.
	farSDs = 4
	// earlyFactor bounds the distance for the second test ever, in outlier distances: the predicted sd is then
	// nothing but a guess at the use, and 4 of it would let anything pass. Our own choice.
	earlyFactor = 2
)

// growMost bounds by how much a held test's distance may have grown until the next test. Our own choice.
const growMost = 4

// judge takes a test in. The track stands at the test's time.
func (k *track) judge(t Test) Result {
	sd := k.testSD(t)
	res := Result{Value: t.Value}
	if k.known {
		level, variance := k.expected(t.At)
		res = Result{Value: t.Value, Known: true, Predicted: level, PredictedSD: math.Sqrt(variance + sd*sd)}
		res.Distance, res.Limit = k.distance(t), k.limit(res.PredictedSD)
	}
	gross := k.slipShare()
	fits := !t.Doubtful && res.Distance <= res.Limit
	switch {
	case k.doubt != nil && !t.Doubtful && k.agreesWithHeld(t, sd) && !(fits && k.nearerToPrediction(t)):
		res.Resolved = Confirmed
		k.believeHeld()
		gross = 0 // two tests that agree are not both grossly wrong
	case fits || t.Confirmed:
		res.Resolved = k.refuteHeld()
		if !fits && k.known {
			k.jump(t.Value - res.Predicted)
		}
		if t.Confirmed {
			gross = 0
		}
	default:
		res.Resolved = k.refuteHeld()
		res.Verdict = Held
		k.hold(t, sd, res)
		return res
	}
	k.accept(t, sd, gross, res)
	res.Verdict = Accepted
	if res.Known {
		res.Gross = k.mix.grossWeight()
		k.slips += res.Gross
	}
	return res
}

// slipShare is the share of this keeper's tests that are grossly wrong, as far as they have shown it: grossShare counts as
// slipTests tests. Nobody is so careful that less than half of that is believed of him.
func (k *track) slipShare() float64 {
	return max(grossShare/2, (slipTests*grossShare+k.slips)/(slipTests+float64(k.used+k.refuted)))
}

func (k *track) testSD(t Test) float64 {
	sd := k.sd
	if t.SD > 0 && finite(t.SD) {
		sd = t.SD
	}
	return math.Hypot(sd, biasSD(t))
}

func biasSD(t Test) float64 {
	if t.BiasSD > 0 && finite(t.BiasSD) {
		return t.BiasSD
	}
	return 0
}

// expected is the level that a test at a time should show, and its variance.
func (k *track) expected(at time.Time) (level, variance float64) {
	b := k.belief()
	return b.level - k.spec.Light.phase(at)*b.useNow, b.ll
}

func (k *track) distance(t Test) float64 {
	z := t.Value
	level, _ := k.expected(t.At)
	if k.used > 1 {
		return math.Abs(z - level)
	}
	// Until the second test the use is only a prior. A level that stayed is no surprise either: the deliveries
	// may just have met the use. So the distance is to what lies between the two.
	lo, hi := min(level, k.balanced), max(level, k.balanced)
	return max(0, lo-z, z-hi)
}

func (k *track) limit(predictedSD float64) float64 {
	far := max(k.prior.outlier, farSDs*predictedSD)
	if k.used <= 1 {
		far = min(far, earlyFactor*k.prior.outlier)
	}
	return far
}

// agreesWithHeld says whether a test confirms the held one. What it means by now lies between two readings: a
// level that stepped once and kept its distance from the prediction, and a use that had changed halfway since the
// last accepted test, so that the distance went on growing.
func (k *track) agreesWithHeld(t Test, sd float64) bool {
	d := k.doubt
	margin := max(k.prior.outlier, farSDs*math.Hypot(sd, k.testSD(d.test)))
	if !k.known {
		believed, _ := d.believer.expected(t.At)
		return math.Abs(t.Value-believed) <= margin
	}
	level, _ := k.expected(t.At)
	grow := float64(growMost)
	if d.since > 0 {
		grow = min(grow, 1+float64(t.At.Sub(d.test.At))/(float64(d.since)/2))
	}
	kept, grown := level+d.shift, level+d.shift*grow
	return t.Value >= min(kept, grown)-margin && t.Value <= max(kept, grown)+margin
}

// nearerToPrediction says whether a test that fits both lies nearer to what was predicted without the held one.
func (k *track) nearerToPrediction(t Test) bool {
	predicted, _ := k.expected(t.At)
	believed, _ := k.doubt.believer.expected(t.At)
	return math.Abs(t.Value-predicted) <= math.Abs(t.Value-believed)
}

// hold sets a test aside, and starts the model that believes it.
func (k *track) hold(t Test, sd float64, res Result) {
	k.aside++
	d := &doubt{test: t, shift: t.Value - res.Predicted, since: t.At.Sub(k.last.At), judged: res, believer: *k}
	if k.known {
		d.believer.jump(d.shift)
	}
	d.believer.aside--
	d.believer.accept(t, sd, 0, res)
	k.doubt = d
}

func (k *track) refuteHeld() Resolution {
	if k.doubt == nil {
		return None
	}
	k.doubt = nil
	k.slips, k.refuted = k.slips+1, k.refuted+1
	return Refuted
}

// believeHeld goes on with the model that took the held test in.
func (k *track) believeHeld() { *k = k.doubt.believer }

// clone gives a copy that shares nothing with k.
func (k *track) clone() track {
	c := *k
	if k.doubt != nil {
		d := *k.doubt
		c.doubt = &d
	}
	return c
}

// accept takes a test into the model; gross is the share of such tests that are grossly wrong. The first one is all that is
// known of the level.
func (k *track) accept(t Test, sd, gross float64, res Result) {
	if k.known {
		before := k.belief()
		k.mix.update(t.Value, sd, k.spec.Light.phase(t.At), k.daysSinceTest(), gross, &k.prior)
		k.caught *= 1 - before.ll/(before.ll+sd*sd)
		if k.stream.on {
			k.stream.test(t.Value, sd, k.spec.Light.phase(t.At))
			k.stream.belongs.bound(k.prior.leastUse, k.prior.mostUse)
		}
		k.raised = max(0, max(0, k.belief().use)-max(0, before.use))
	} else {
		k.known = true
		k.mix.begin(t.Value, sd, k.spec.Light.phase(t.At), k.prior)
		k.balanced, k.caught, k.dosed, k.spread = t.Value, 0, 0, 0
	}
	k.note(t, res)
}

// note records an accepted test and watches for an overshoot: two in a row above Upper, the second higher.
func (k *track) note(t Test, res Result) {
	if k.used == 0 {
		k.first = t.At
	}
	k.used++
	k.previous, k.bias = k.last, biasSD(t)
	k.last = Reading{At: t.At, Value: t.Value, Predicted: res.Predicted, PredictedSD: res.PredictedSD}
	upper := k.spec.Upper
	if upper > 0 && k.used > 1 && k.previous.Value > upper && k.last.Value > k.previous.Value {
		k.overshoot = true
	}
	k.maybeEndOvershoot()
}
