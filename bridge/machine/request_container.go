package machine

import (
	"fmt"

	"aliquot/safety"
)

// RemainingResult is the result of the requests `refill` and `swap`.
type RemainingResult struct {
	Container      string  `json:"container"`
	RemainingMinML float64 `json:"remaining_min_ml"`
	RemainingMaxML float64 `json:"remaining_max_ml"`
}

// overfill is how much more than fits by the cautious count may be entered, percent of the capacity: the cautious
// count may be a little low (H-23).
const overfill = 5

// askRefill books what was added, or what the container holds afterwards.
func (t *turn) askRefill(q Request) reply {
	k, bad := t.theContainer(q.Container)
	if bad != nil {
		return *bad
	}
	if bad := t.caustic(k.supplement, q.Confirm); bad != nil {
		return *bad
	}
	row := Refill{Container: k.cfg.ID}
	switch {
	case q.Full:
		row.Remaining = &k.cfg.Capacity
	case q.RemainingML != nil:
		left, bad := millilitres(q.RemainingML, "remaining_ml")
		if bad != nil {
			return *bad
		}
		if left > k.cfg.Capacity {
			return *no(safety.OutOfRange, "remaining_ml is %s, more than container %s holds (%s)", left, k.cfg.ID, k.cfg.Capacity)
		}
		row.Remaining = &left
	}
	if q.VolumeML != nil || row.Remaining == nil {
		if row.Added, bad = t.addable(q, k, row.Remaining != nil); bad != nil {
			return *bad
		}
	}
	drains := k.min <= k.cfg.Stop
	t.record(row, q.By)
	text := fmt.Sprintf("container %s now holds %s by the cautious count", k.cfg.ID, k.min)
	if drains {
		text += "; its lines have to be primed, since it was at its stop or below"
	}
	return t.remaining(k, text)
}

func (t *turn) addable(q Request, k *containerState, stated bool) (safety.Microlitres, *reply) {
	added, bad := millilitres(q.VolumeML, "volume_ml")
	if bad != nil {
		bad.text += "; say volume_ml (added), remaining_ml (what it holds now) or \"full\": true"
		return 0, bad
	}
	room := k.cfg.Capacity - max(0, k.min) + k.cfg.Capacity*overfill/100
	if !stated && (added <= 0 || added > room) {
		return 0, no(safety.OutOfRange, "%s cannot be added to container %s: it holds at least %s of %s; if that is wrong say remaining_ml, what it holds now", added, k.cfg.ID, max(0, k.min), k.cfg.Capacity)
	}
	return added, nil
}

// askSwap replaces a container's contents. Another supplement halves the caps for a day (H-22).
func (t *turn) askSwap(q Request) reply {
	k, bad := t.theContainer(q.Container)
	if bad != nil {
		return *bad
	}
	name := q.Supplement
	if name == "" {
		name = k.supplement
	}
	if t.supplement(name) == nil {
		var known []string
		for _, p := range t.site.Supplements {
			known = append(known, p.ID)
		}
		return *unknownName("supplement", name, known)
	}
	if bad := t.caustic(name, q.Confirm); bad != nil {
		return *bad
	}
	left := k.cfg.Capacity
	if !q.Full {
		if left, bad = millilitres(q.RemainingML, "remaining_ml"); bad != nil {
			bad.text += "; say what the container holds now, or \"full\": true"
			return *bad
		}
	}
	if left > k.cfg.Capacity {
		return *no(safety.OutOfRange, "remaining_ml is %s, more than container %s holds (%s)", left, k.cfg.ID, k.cfg.Capacity)
	}
	other := name != k.supplement
	t.record(Swap{Container: k.cfg.ID, Supplement: name, Remaining: left}, q.By)
	text := fmt.Sprintf("container %s now holds %s of %s; prime its lines", k.cfg.ID, k.min, name)
	if other {
		text += "; for a day its channels get half their per_day, since the contents changed"
	}
	return t.remaining(k, text)
}

func (t *turn) remaining(k *containerState, text string) reply {
	if p := t.supplement(k.supplement); p != nil && len(p.Cautions) > 0 {
		text += ". " + p.cautionText()
	}
	return done(text, RemainingResult{Container: k.cfg.ID, RemainingMinML: k.min.Millilitres(), RemainingMaxML: k.max.Millilitres()})
}

// caustic asks for a second word before somebody handles what burns (H-45).
func (t *turn) caustic(supplement string, confirmed bool) *reply {
	p := t.supplement(supplement)
	if p == nil || !p.Caustic || confirmed {
		return nil
	}
	return no(safety.NeedsConfirm, "%s: %s. Send it again with \"confirm\": true", supplement, p.cautionText())
}
