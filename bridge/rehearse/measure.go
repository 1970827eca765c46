package rehearse

import (
	"math"
	"time"
)

// z90 is how many standard deviations from the mean 90 % of a normal distribution lie within.
const z90 = 1.645

// measure judges the true level from a moment on; before the channels are ready nothing can be held.
func (q *QuantityResult) measure(from time.Time) {
	if len(q.Series) == 0 || q.Series[0].Level == nil {
		return
	}
	q.Start, q.End = *q.Series[0].Level, *q.Series[len(q.Series)-1].Level
	var in, n, known, covered int
	sum := 0.0
	for _, s := range q.Series {
		if from.IsZero() || s.At.Before(from) {
			continue
		}
		d := *s.Level - q.Target
		n++
		if math.Abs(d) <= q.Band {
			in++
		}
		sum += d * d
		if math.Abs(d) > math.Abs(q.Worst) {
			q.Worst = d
		}
		if s.Believed != nil {
			known++
			if math.Abs(*s.Level-*s.Believed) <= z90**s.BelievedSD {
				covered++
			}
		}
	}
	if n > 0 {
		q.InBandPercent, q.RMS = 100*float64(in)/float64(n), math.Sqrt(sum/float64(n))
	}
	if known > 0 {
		share := 100 * float64(covered) / float64(known)
		q.Covered = &share
	}
	q.DaySwing = largestSwing(q.Series, from)
}

// largestSwing is the largest difference between two levels within 24 h.
func largestSwing(series []Sample, from time.Time) float64 {
	most := 0.0
	for i, a := range series {
		if from.IsZero() || a.At.Before(from) {
			continue
		}
		for _, b := range series[i+1:] {
			if b.At.Sub(a.At) > 24*time.Hour {
				break
			}
			most = max(most, math.Abs(*b.Level-*a.Level))
		}
	}
	return most
}

// count says how many tests there were and how many were not taken.
func (q *QuantityResult) count(tests []Test) {
	for _, t := range tests {
		if t.System == q.System && t.Quantity == q.Quantity {
			q.Entered++
			if t.Held {
				q.SetAside++
			}
		}
	}
}

// round gives the figures the digits that mean something: machines differ in the last ones.
func (r *Result) round() {
	for i := range r.Quantities {
		q := &r.Quantities[i]
		for _, v := range []*float64{&q.Start, &q.End, &q.InBandPercent, &q.RMS, &q.Worst, &q.DaySwing, &q.LargestDose, q.Covered} {
			fourDecimals(v)
		}
	}
	for i := range r.Channels {
		c := &r.Channels[i]
		fourDecimals(&c.VolumeML)
		fourDecimals(&c.LargestML)
		for k := range c.Days {
			fourDecimals(&c.Days[k].ML)
		}
	}
	for i := range r.Containers {
		fourDecimals(&r.Containers[i].EndML)
		fourDecimals(r.Containers[i].DaysLeft)
	}
	for i := range r.Tests {
		fourDecimals(r.Tests[i].Truth)
		fourDecimals(r.Tests[i].Expected)
		fourDecimals(r.Tests[i].ExpectedSD)
	}
}

func fourDecimals(v *float64) {
	if v != nil {
		*v = math.Round(*v*1e4) / 1e4
	}
}
