package faultsim

import (
	"fmt"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// row looks at every row that became durable.
func (c *checker) row(w *world, l *ledger, row machine.Row) {
	if len(l.rows) > 1 {
		if before := l.rows[len(l.rows)-2]; row.Elapsed < before.Elapsed {
			w.violated("H-11", "row %d stands at %d on the true axis, before %d", row.Seq, row.Elapsed, before.Elapsed)
		}
	}
	if b, ok := row.Body.(machine.RunReserved); ok {
		if c.reserved[l] == nil {
			c.reserved[l] = map[string]machine.RunReserved{}
		}
		c.reserved[l][b.Run] = b
	}
	if l != &w.hosts[0].ledger {
		return
	}
	switch b := row.Body.(type) {
	case machine.RunEnded:
		w.note("run %s ended %s, hi %d lo %d: %s", short(b.Run), b.Outcome, b.Hi, b.Lo, b.Reason)
	case machine.AlertChanged:
		if c.raised[b.Name] && !b.Raised {
			c.ended[b.Name] = w.now
		}
		c.raised[b.Name] = b.Raised
	case machine.Hold:
		// It counts from the decision, however long the disk takes.
		c.holds = append(c.holds, heldUntil{b.Scope, w.hosts[0].p.stepped + b.Length.Duration()})
	case machine.Release:
		c.release(b.Scope)
	default:
		if b, ok := b.(machine.Lockout); ok && b.Code == safety.LedgerRestored {
			w.hosts[0].lost = "" // the ledger itself says so from now on
		}
		if text := c.standing.apply(row.Body); text != "" {
			c.followCut(w)
			w.note("%s", text)
		}
	}
}

// release ends holds. The machine renews a hold when the axis gains time: the new one is a row of its own.
func (c *checker) release(scope machine.Scope) {
	var kept []heldUntil
	for _, h := range c.holds {
		if scope != (machine.Scope{}) && h.scope != scope {
			kept = append(kept, h)
		}
	}
	c.holds = kept
}

// restored takes note of a ledger that was set back: what it forgot cannot be held against it.
func (c *checker) restored(w *world) {
	l := &w.hosts[0].ledger
	c.holds, c.standing, c.raised = nil, nil, map[string]bool{}
	c.reserved[l] = map[string]machine.RunReserved{}
	for _, row := range l.rows {
		switch b := row.Body.(type) {
		case machine.AlertChanged:
			c.raised[b.Name] = b.Raised
		case machine.RunReserved:
			c.reserved[l][b.Run] = b
		default:
			c.standing.apply(row.Body)
		}
	}
	// Until somebody accepts it nothing may run (H-40).
	c.standing.set(machine.Scope{}, safety.LedgerRestored, "the ledger was set back and nobody accepted it")
	c.followCut(w)
}

// copied takes note of a second ledger.
func (c *checker) copied(l *ledger) {
	c.reserved[l] = map[string]machine.RunReserved{}
	c.doses[1] = make([]window, len(c.site.Systems[0].Targets))
	c.caps[1] = make([]pouring, len(c.site.Channels))
}

// standings are the conditions that keep channels from running until somebody clears them, by the rows alone.
type standings []stands

type stands struct {
	scope machine.Scope
	code  safety.Code
	text  string
}

func (s *standings) set(scope machine.Scope, code safety.Code, text string) {
	s.drop(scope, code)
	*s = append(*s, stands{scope, code, text})
}

func (s *standings) drop(scope machine.Scope, code safety.Code) {
	var kept standings
	for _, k := range *s {
		if k.scope != scope || k.code != code {
			kept = append(kept, k)
		}
	}
	*s = kept
}

// apply follows a row, and says what it changed.
func (s *standings) apply(body machine.Body) string {
	switch b := body.(type) {
	case machine.Lockout:
		if b.Scope.Interlock == "" {
			s.set(b.Scope, b.Code, b.Text)
			return fmt.Sprintf("lockout %s of %s: %s", b.Code, b.Scope, b.Text)
		}
	case machine.OutOfService:
		s.set(b.Scope, safety.OutOfService, b.Reason)
	case machine.Cleared:
		s.drop(b.Scope, b.Code)
		return fmt.Sprintf("cleared %s of %s", b.Code, b.Scope)
	}
	return ""
}

// over gives what stands over a channel, empty if nothing does.
func (s standings) over(c *machine.Channel) string {
	for _, k := range s {
		if (k.scope.Channel == "" || k.scope.Channel == c.ID) && (k.scope.System == "" || k.scope.System == c.System) &&
			(k.scope.Supply == "" || k.scope.Supply == c.Supply) {
			return fmt.Sprintf("%s stands: %s", k.code, k.text)
		}
	}
	return ""
}
