package estimate

import (
	"math"
	"time"
)

// smoother goes forward as the filter does, and keeps at each node what going back needs. Which way a belief flows to the
// next node is found by moving a little what was believed: the equations are nowhere written a second time.
type smoother struct {
	main  track
	sides [1 + dims]track // as main was at the last node; from the second on one belief is moved by nudge
	nudge [dims]float64
	nodes []node
	last  int // index of the last node of a test, -1: none
}

// look puts a node at a time that is asked for. The main track does not notice.
func (s *smoother) look(at time.Time, query int) {
	if !s.main.known {
		return
	}
	s.each(func(k *track) { k.advance(at) })
	here := s.main.clone()
	here.advance(at)
	s.arrive(s.sides[0].mix.moments())
	s.leave(here, query)
}

// take lets an input pass.
func (s *smoother) take(in *Input, became fate) {
	if in.Test == nil {
		s.main.tell(in)
		s.each(func(k *track) { k.tell(in) })
		return
	}
	t := *in.Test
	if t.Quantity != s.main.spec.Quantity || !finite(t.Value) {
		return
	}
	s.main.advance(t.At)
	s.each(func(k *track) { k.advance(t.At) })
	if !became.taken {
		return
	}
	if became.jumps && s.main.known {
		s.main.jump(t.Value - became.res.Predicted)
		s.each(func(k *track) { k.jump(t.Value - became.res.Predicted) })
	}
	if s.main.known {
		s.arrive(s.sides[0].stepped())
	}
	s.main.accept(t, s.main.testSD(t), became.gross, became.res)
	s.leave(s.main.clone(), -1)
	s.last = len(s.nodes) - 1
}

// each does the same to all tracks beside the main one, if there are any yet.
func (s *smoother) each(do func(*track)) {
	if len(s.nodes) == 0 {
		return
	}
	for i := range s.sides {
		do(&s.sides[i])
	}
}

// stepped is what is believed with room for a step of the use since the last test, as an update makes it.
func (k *track) stepped() moments {
	days := k.daysSinceTest()
	all := cell{}
	for i := range k.mix.cells {
		c := k.mix.cells[i]
		other, step := c, stepChance(i, days)
		c.weight *= 1 - step
		other.weight *= step
		other.shift(stepSize*max(math.Abs(c.mean[use]), k.prior.floor), days)
		all = merge(all, merge(c, other))
	}
	return moments{all.mean, all.cov}
}

// arrive ends the way from the last node.
func (s *smoother) arrive(ahead moments) {
	if len(s.nodes) == 0 {
		return
	}
	n := &s.nodes[len(s.nodes)-1]
	n.ahead = ahead
	from := s.sides[0].mix.moments().mean
	for j := range dims {
		to := s.sides[1+j].mix.moments().mean
		for i := range dims {
			n.flow[i][j] = (to[i] - from[i]) / s.nudge[j]
		}
	}
}

// leave begins the way from a new node.
func (s *smoother) leave(here track, query int) {
	m := here.mix.moments()
	s.nodes = append(s.nodes, node{query: query, filtered: m, smoothed: m, own: here.belief()})
	s.sides[0] = here.clone()
	for j := range dims {
		// Far below what matters, far above rounding.
		s.nudge[j] = 1e-6 * (math.Abs(m.mean[j]) + math.Sqrt(m.cov[j][j]) + 1e-3)
		s.sides[1+j] = here.clone()
		s.sides[1+j].mix.each(func(c *cell) { c.mean[j] += s.nudge[j] })
	}
}

// back goes from the last test to the first node: H. E. Rauch, F. Tung, C. T. Striebel 1965, AIAA J. 3:1445. After the
// last test nothing is learnt.
func (s *smoother) back() {
	for i := s.last - 1; i >= 0; i-- {
		n, after := &s.nodes[i], &s.nodes[i+1].smoothed
		gain, ok := smootherGain(&n.filtered.cov, &n.flow, n.ahead.cov)
		if !ok {
			continue
		}
		var spread [dims][dims]float64
		for a := range dims {
			for b := range dims {
				n.smoothed.mean[a] += gain[a][b] * (after.mean[b] - n.ahead.mean[b])
				spread[a][b] = after.cov[a][b] - n.ahead.cov[a][b]
			}
		}
		n.smoothed.cov = plusSandwich(n.filtered.cov, gain, spread)
	}
	for i := range s.nodes[:s.last+1] {
		s.nodes[i].learnt = true
	}
	if s.last >= 0 {
		s.nodes[s.last].learnt = false
	}
}

// smootherGain is P·Fᵀ·A⁻¹ of a covariance P, a flow F and the covariance A expected ahead. Not ok: A has no inverse.
func smootherGain(p, f *[dims][dims]float64, a [dims][dims]float64) (g [dims][dims]float64, ok bool) {
	// A·Gᵀ = F·P, by elimination with the largest pivot; rows and columns are brought to one size before.
	var right [dims][dims]float64
	var size [dims]float64
	for i := range dims {
		size[i] = math.Sqrt(a[i][i])
		if !(size[i] > 0) {
			return g, false
		}
		for j := range dims {
			for k := range dims {
				right[i][j] += f[i][k] * p[k][j]
			}
		}
	}
	for i := range dims {
		for j := range dims {
			a[i][j] /= size[i] * size[j]
			right[i][j] /= size[i]
		}
		a[i][i] += 1e-9
	}
	if !eliminate(&a, &right) {
		return g, false
	}
	for i := range dims {
		for j := range dims {
			g[j][i] = right[i][j] / size[i]
		}
	}
	return g, true
}

// eliminate replaces right by A⁻¹·right.
func eliminate(a, right *[dims][dims]float64) bool {
	for c := range dims {
		pivot := c
		for r := c + 1; r < dims; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[pivot][c]) {
				pivot = r
			}
		}
		if !(math.Abs(a[pivot][c]) > 1e-12) {
			return false
		}
		a[c], a[pivot], right[c], right[pivot] = a[pivot], a[c], right[pivot], right[c]
		for r := range dims {
			if r == c {
				continue
			}
			by := a[r][c] / a[c][c]
			for j := range dims {
				a[r][j] -= by * a[c][j]
				right[r][j] -= by * right[c][j]
			}
		}
	}
	for i := range dims {
		for j := range dims {
			right[i][j] /= a[i][i]
		}
	}
	return true
}

// plusSandwich is p + g·s·gᵀ; a variance stays at a thousandth of what it was at least.
func plusSandwich(p, g, s [dims][dims]float64) [dims][dims]float64 {
	out := p
	for i := range dims {
		for j := range dims {
			for a := range dims {
				for b := range dims {
					out[i][j] += g[i][a] * s[a][b] * g[j][b]
				}
			}
		}
	}
	for i := range dims {
		out[i][i] = max(out[i][i], 1e-3*p[i][i])
	}
	return out
}

// answer puts a node's figures in the form of the answer.
func (n *node) answer(k *track, at time.Time) Smoothed {
	out := Smoothed{At: at, Known: true}
	if !n.learnt {
		b := &n.own
		out.Level, out.LevelSD = max(0, b.level-k.spec.Light.phase(at)*b.useNow), math.Sqrt(max(0, b.ll))
		out.Consumption, out.ConsumptionSD = max(0, b.useNow), math.Sqrt(max(0, b.varNow))
		return out
	}
	m := k.motion()
	x := &n.smoothed
	factor, _ := m.at(x.mean[level])
	out.Level, out.LevelSD = max(0, x.mean[level]-k.spec.Light.phase(at)*x.mean[use]*factor), math.Sqrt(x.cov[level][level])
	out.Consumption, out.ConsumptionSD = max(0, x.mean[use]*factor), factor*math.Sqrt(x.cov[use][use])
	return out
}
