package estimate

import (
	"math"
	"time"

	"aliquot/planner/units"
)

// ProbeReading is what a probe that streams a quantity showed, such as the mean of an hour.
type ProbeReading struct {
	At       time.Time
	Quantity units.Quantity
	Value    float64 // canonical unit
}

// stream is what is believed with the readings of a probe besides. A probe shows changes within hours, and reads wrong by
// something that stays: so the tests say how high the level is and the probe how it moves. It lives beside the mixture, which
// knows tests alone, and is forgotten when the probe falls silent.
type stream struct {
	on      bool
	belongs cell          // level, use, usual use and gain
	offset  float64       // by how much the probe reads too high
	spread  float64       // its variance
	cross   [dims]float64 // covariances of it with the others
	noise   float64       // variance of the mean of a day's readings
	seen    time.Time     // when the newest reading came

	since    time.Time // of the day whose readings are gathered
	missed   float64   // by how much they lay above what was expected, in sum
	readings int
}

// Constants of a stream, our own choice.
const (
	// streamOld is the age of the newest reading from which on tests alone count.
	streamOld = 24 * time.Hour
	// A probe reads wrong by streamOff outlier distances at first, and drifts by streamDrift of them in a day (standard
	// deviations).
	streamOff   = 0.5
	streamDrift = 0.06
	// streamWalk is the relative standard deviation of the use after one day.
	streamWalk = 0.11
	// A day of readings is taken in once it is as long as streamDay, and anew after a gap.
	streamDay = 24 * time.Hour
	streamGap = 13 * time.Hour
	// streamMemory is over how many days the noise of a day's mean is learnt; its standard deviation is at least streamNoise of
	// a test's, at most streamWild.
	streamMemory = 10
	streamNoise  = 0.4
	streamWild   = 3
	// streamFar is how many standard deviations a test may lie off and count in full.
	streamFar = 3
	// What a probe may move what tests alone say: the level by streamLevel outlier distances, the use by streamUse of it, and
	// together no more than a band asks for in a day.
	streamLevel = 0.5
	streamUse   = 0.5
)

// Probe takes a reading in. Readings of one quantity come from one probe. Those before the first test, of a quantity that the
// system does not have, or that are no numbers, are passed over.
func (f *Filter) Probe(r ProbeReading) {
	k := f.find(r.Quantity)
	if k == nil || !finite(r.Value) || !k.known {
		return
	}
	k.advance(r.At)
	if k.doubt != nil {
		k.doubt.believer.read(r.Value)
	}
	k.read(r.Value)
}

// read takes a reading of the track's time in. What a day of readings misses is taken in together: within a day the
// level follows the light in a way that nobody knows, and that is gone from the mean of a whole day.
func (k *track) read(z float64) {
	s := &k.stream
	if !s.on || k.at.Sub(s.seen) > streamOld {
		k.beginStream()
	} else if k.at.Sub(s.seen) > streamGap {
		s.begin(k.at)
	}
	s.seen = k.at
	y := z - s.belongs.mean[level] - s.offset
	if s.readings > 0 && math.Abs(y-s.missed/float64(s.readings)) > k.scale() {
		// Nothing alive moves so far in an hour: it was calibrated, or is broken. What it reads wrong by is not known any more.
		s.spread += y * y
		s.begin(k.at)
	}
	s.missed += y
	s.readings++
	if k.at.Sub(s.since) < streamDay {
		return
	}
	k.takeDay(s.missed / float64(s.readings))
	s.begin(k.at)
}

func (s *stream) begin(at time.Time) { s.since, s.missed, s.readings = at, 0, 0 }

// takeDay takes in what the readings of a day missed on their mean. They lie half a day back: a use that is believed too small
// makes the level of now too high by half a day of it more than that of then.
func (k *track) takeDay(y float64) {
	s := &k.stream
	const back = -0.5 // days
	least := streamNoise * k.sd
	of := s.variance(back, 1)
	if math.Abs(y) > max(k.scale(), farSDs*math.Sqrt(of+s.noise)) {
		s.spread += y * y // as above, over night
	} else {
		s.noise += (max(0, y*y-of) - s.noise) / streamMemory
		s.noise = min(streamWild*streamWild*k.sd*k.sd, max(least*least, s.noise))
	}
	s.observe(y, s.noise, back, 1)
	s.belongs.bound(k.prior.leastUse, k.prior.mostUse)
}

// beginStream starts from what the tests say. What was known of the probe's error stays, but for what it may have drifted.
func (k *track) beginStream() {
	s, d := &k.stream, k.scale()
	all := k.mix.moments()
	fresh := stream{on: true, since: k.at, belongs: cell{weight: 1, mean: all.mean, cov: all.cov}, spread: streamOff * streamOff * d * d, noise: streamNoise * streamNoise * k.sd * k.sd}
	if s.on {
		drift := streamDrift * d
		fresh.offset, fresh.noise = s.offset, s.noise
		fresh.spread = min(fresh.spread, s.spread+drift*drift*k.at.Sub(s.seen).Hours()/24)
	}
	*s = fresh
}

// test takes an accepted test in, the less the further it lies off. What the readings of the day missed so far they miss of
// what is believed from now on.
func (s *stream) test(z, sd, phase float64) {
	y := z - (s.belongs.mean[level] - phase*s.belongs.mean[use])
	of, r := s.variance(phase, 0), sd*sd
	before := s.belongs.mean[level] + s.offset
	s.observe(y, r+max(0, y*y/(streamFar*streamFar)-of-r), phase, 0)
	s.missed -= float64(s.readings) * (s.belongs.mean[level] + s.offset - before)
}

// variance is that of what is expected of a measurement of the level less the use of phase days; share is 1 for the probe, whose
// error is in it, and 0 for a test.
func (s *stream) variance(phase, share float64) float64 {
	row, own := s.row(phase, share)
	return row[level] - phase*row[use] + share*own
}

// row is the covariance of a measurement with everything that is believed, and with the offset.
func (s *stream) row(phase, share float64) (row [dims]float64, own float64) {
	c := &s.belongs.cov
	for i := range dims {
		row[i] = c[level][i] - phase*c[use][i] + share*s.cross[i]
	}
	return row, s.cross[level] - phase*s.cross[use] + share*s.spread
}

// observe takes in a measurement that lies y off, with the variance r.
func (s *stream) observe(y, r, phase, share float64) {
	row, own := s.row(phase, share)
	v := row[level] - phase*row[use] + share*own + r
	for i := range dims {
		s.belongs.mean[i] += row[i] / v * y
		for j := range dims {
			s.belongs.cov[i][j] -= row[i] * row[j] / v
		}
		s.cross[i] -= row[i] * own / v
	}
	s.offset += own / v * y
	s.spread = max(0, s.spread-own*own/v)
	for i := range dims {
		s.belongs.cov[i][i] = max(0, s.belongs.cov[i][i])
	}
	s.belongs.mean[level] = max(0, s.belongs.mean[level])
}

// move advances it as cells are moved.
func (s *stream) move(m *motion, drift float64) {
	keep, byUse, back := s.belongs.flow(m)
	s.belongs.move(m, streamWalk)
	x := &s.cross
	x[level] = keep*x[level] + byUse*x[use] + m.dosed*x[gain]
	x[use] = (1-back)*x[use] + back*x[usual]
	s.spread += drift * drift * m.days
}

// dilute replaces water: the probe reads wrong by as much as before.
func (s *stream) dilute(keep, added, spread float64) {
	s.belongs.dilute(keep, added, spread)
	s.cross[level] *= keep
}

// withStream puts what the probe shows into an estimate of what tests say. A probe is believed so far only. What it asks for
// beyond the tests, a larger use and a lower level alike, comes to a band a day at most: the correction by the tests' own level then
// holds that within a band of the target, however long the probe lies. What the use is above that of the tests counts as raised by one
// test (H-29). It makes no old test young: once growth is not believed any more (H-30) it counts for nothing.
func (k *track) withStream(e *Estimate) {
	s, b := &k.stream, &k.stream.belongs
	m := k.motion()
	if !s.on || m.still || k.at.Sub(s.seen) > streamOld {
		return
	}
	e.Offset, e.OffsetSD, e.OffsetSeen = s.offset, math.Sqrt(s.spread), s.seen
	higher, larger := k.believedOf(e)
	e.Level += higher
	e.CaughtByTests = e.LevelCaught
	e.LevelCaught += higher
	e.LevelSD = math.Sqrt(max(0, b.cov[level][level]) + k.bias*k.bias)
	e.UseAtTarget, e.UseRaised = e.UseAtTarget+larger, e.UseRaised+max(0, larger)
	factor, _ := m.at(e.Level)
	e.Use += larger * factor
	e.Consumption, e.ConsumptionSD = max(0, e.Use), factor*math.Sqrt(max(0, b.cov[use][use]))
	e.OfHour = -k.spec.Light.phase(k.at) * e.Use
}

// believedOf is by how much a probe moves the level and the use of an estimate by tests.
func (k *track) believedOf(e *Estimate) (higher, larger float64) {
	b, far := &k.stream.belongs, streamLevel*k.scale()
	higher = min(far, max(-far, b.mean[level]-e.Level))
	most := max(streamUse*e.UseAtTarget, k.prior.floor)
	larger = min(most, max(-min(most, e.UseAtTarget), b.mean[use]-e.UseAtTarget))
	band := far
	if k.spec.Upper > k.spec.Target {
		band = min(far, k.spec.Upper-k.spec.Target)
	}
	if asked := larger - higher; math.Abs(asked) > band {
		higher, larger = higher*band/math.Abs(asked), larger*band/math.Abs(asked)
	}
	return higher, larger
}
