package machine_test

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// checker knows what must hold for any trace, and nothing of the machine but its rows and commands.
type checker struct {
	runs     map[string]bool // ids that were sent, over all processes
	keys     map[string]string
	seq      int64
	elapsed  safety.Elapsed
	standing map[standingKey]string
	holds    []heldScope
	outlet   map[string]machine.Into
	pours    map[string][]pour
	sends    map[string]int // by channel
}

type standingKey struct {
	machine.Scope
	code safety.Code
}

type heldScope struct {
	machine.Scope
	ends safety.Elapsed
}

// pour is liquid that truly left an outlet.
type pour struct {
	from, to   time.Duration // true time
	ul         float64
	intoVessel bool
}

func (k *checker) init(site *machine.Site) {
	*k = checker{runs: map[string]bool{}, keys: map[string]string{}, standing: map[standingKey]string{},
		outlet: map[string]machine.Into{}, pours: map[string][]pour{}, sends: map[string]int{}}
	for _, c := range site.Channels {
		k.outlet[c.ID] = machine.IntoTank
	}
}

// row looks at every row as it is written: the ledger would refuse what this refuses.
func (k *checker) row(r *rig, row machine.Row) {
	r.t.Helper()
	if row.Seq != k.seq+1 {
		r.t.Fatalf("row %d follows row %d", row.Seq, k.seq)
	}
	if row.Elapsed < k.elapsed {
		r.t.Fatalf("row %d (%s) stands at %d on the true axis, before %d", row.Seq, row.Body.Kind(), row.Elapsed, k.elapsed)
	}
	k.seq, k.elapsed = row.Seq, row.Elapsed
	for kind, key := range map[string]string{"id": row.ID, "slot": row.SlotKey(), "ref": row.Ref()} {
		if key == "" {
			continue
		}
		if before, twice := k.keys[kind+" "+key]; twice {
			r.t.Fatalf("row %d (%s) has the %s %q of %s", row.Seq, row.Body.Kind(), kind, key, before)
		}
		k.keys[kind+" "+key] = fmt.Sprintf("row %d", row.Seq)
	}
	k.stand(row)
}

// stand keeps the standing conditions by the rows alone.
func (k *checker) stand(row machine.Row) {
	switch b := row.Body.(type) {
	case machine.Lockout:
		if b.Scope.Interlock == "" {
			k.standing[standingKey{b.Scope, b.Code}] = b.Text
		}
	case machine.OutOfService:
		k.standing[standingKey{b.Scope, safety.OutOfService}] = b.Reason
	case machine.Cleared:
		delete(k.standing, standingKey{b.Scope, b.Code})
	case machine.Hold:
		k.holds = append(k.holds, heldScope{b.Scope, row.Elapsed + safety.Elapsed(b.Length)})
	case machine.Release:
		var kept []heldScope
		for _, h := range k.holds {
			if b.Scope != (machine.Scope{}) && h.Scope != b.Scope {
				kept = append(kept, h)
			}
		}
		k.holds = kept
	}
}

// sent looks at every command as it leaves.
func (k *checker) sent(r *rig, run machine.SendRun, reserved []machine.RunReserved) {
	r.t.Helper()
	recorded := false
	for _, row := range reserved {
		recorded = recorded || reflect.DeepEqual(row, run.RunReserved)
	}
	if !recorded {
		r.t.Fatalf("INV-4: run %s of %s is sent without its row before it in the same list", run.Run, run.Channel)
	}
	if k.runs[run.Run] {
		r.t.Fatalf("INV-3: run %s of %s is sent a second time", run.Run, run.Channel)
	}
	k.runs[run.Run] = true
	k.sends[run.Channel]++
	if run.Duration < 1 || run.Longest < run.Duration || run.Longest > safety.RunMax || run.Volume < 1 {
		r.t.Fatalf("INV-2, INV-8: a run of %d µL and %d ms, at most %d ms", run.Volume, run.Duration, run.Longest)
	}
	if wait := run.NotAfter - (r.now - r.born); wait > safety.RunTTL {
		r.t.Fatalf("INV-5: run %s may leave within %s", run.Run, wait)
	}
	k.mayRun(r, run)
}

// mayRun asserts that nothing stands in the way of a run (INV-7).
func (k *checker) mayRun(r *rig, run machine.SendRun) {
	r.t.Helper()
	covers := func(c machine.Scope) bool {
		return (c.Channel == "" || c.Channel == run.Channel) && (c.System == "" || c.System == "reef")
	}
	for at, text := range k.standing {
		if covers(at.Scope) {
			r.t.Fatalf("INV-7: %s runs although %s stands: %s", run.Channel, at.code, text)
		}
	}
	now := machine.Elapsed(&r.state)
	for _, h := range k.holds {
		if covers(h.Scope) && now < h.ends {
			r.t.Fatalf("INV-7: %s runs during a hold that ends in %d ms", run.Channel, h.ends-now)
		}
	}
	if !r.linkUp || !r.synced {
		r.t.Fatalf("INV-7: %s runs with link %v, clock synced %v", run.Channel, r.linkUp, r.synced)
	}
	for _, l := range r.view().Interlocks {
		if l.Active && (l.Name == "leak" || run.Channel == "alk") {
			r.t.Fatalf("INV-7: %s runs although interlock %s blocks", run.Channel, l.Name)
		}
	}
}

func (k *checker) poured(channel string, from, to time.Duration, ul float64) {
	list := k.pours[channel]
	vessel := k.outlet[channel] == machine.IntoVessel
	if n := len(list); n > 0 && list[n-1].to == from && list[n-1].intoVessel == vessel {
		list[n-1].to, list[n-1].ul = to, list[n-1].ul+ul
		return
	}
	k.pours[channel] = append(list, pour{from, to, ul, vessel})
}

// caps checks every closed window of 24 h of true time that begins where liquid began to flow (INV-1), against what
// the nodes really delivered.
func (k *checker) caps(r *rig) {
	r.t.Helper()
	for _, c := range r.site.Channels {
		if sum := k.pouredML(c.ID); c.Course.Total > 0 && c.Course.From.Before(r.start) && sum > c.Course.Total.Millilitres()+.001 {
			r.t.Fatalf("%s delivered %.3f mL of a course of %s", c.ID, sum, c.Course.Total)
		}
		for _, vessel := range []bool{false, true} {
			limit, name := c.Limits.PerDay, "per_day"
			if vessel {
				limit, name = c.Limits.AttendedPerDay, "attended.per_day"
			}
			if at, most := fullestDay(k.pours[c.ID], vessel); most > float64(limit)+1 {
				r.t.Fatalf("INV-1: %s delivered %.0f µL within 24 h of %s, %s is %d µL", c.ID, most, r.start.Add(at).Format(time.DateTime), name, limit)
			}
		}
	}
}

// gaps checks that what is kept apart really flowed apart (H-25), whatever nobody knew.
func (k *checker) gaps(r *rig) {
	r.t.Helper()
	for _, a := range r.site.KeepApart {
		for _, x := range k.pours[a.Channels[0]] {
			for _, y := range k.pours[a.Channels[1]] {
				if d := max(x.from-y.to, y.from-x.to); d < a.Gap {
					r.t.Fatalf("H-25: %v flowed %s apart, at %s and %s", a.Channels, d, r.start.Add(x.from).Format(time.DateTime), r.start.Add(y.from).Format(time.DateTime))
				}
			}
		}
	}
}

// fullestDay is the largest volume in any window of 24 h, and where that window begins.
func fullestDay(pours []pour, vessel bool) (at time.Duration, most float64) {
	for i, first := range pours {
		sum := 0.0
		for _, p := range pours[i:] {
			if p.intoVessel == vessel {
				sum += p.ul * overlap(p, first.from, first.from+24*time.Hour)
			}
		}
		if sum > most {
			at, most = first.from, sum
		}
	}
	return at, most
}

// overlap is the share of a pour that lies in a window.
func overlap(p pour, from, to time.Duration) float64 {
	if p.to <= p.from {
		return 1
	}
	return max(0, float64(min(p.to, to)-max(p.from, from))/float64(p.to-p.from))
}

// refolds asserts that the rows alone give back everything durable of the live state.
func (k *checker) refolds(r *rig) {
	r.t.Helper()
	if !r.alive {
		return
	}
	folded := machine.SameMoment(r.foldOf(r.rows), r.state)
	if live, again := machine.Durable(&r.state), machine.Durable(&folded); live != again {
		r.t.Fatalf("the fold of %d rows differs from the live state:\n%s", len(r.rows), firstDifference(live, again))
	}
}

func firstDifference(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	var out []string
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			out = append(out, "live   "+x[i], "folded "+y[i])
		}
	}
	return strings.Join(out, "\n")
}

// trace records what went into the machine and what came out, so that it can be played again.
type trace struct {
	steps []traced
}

type traced struct {
	rows    int // before this step the state was folded of so many rows; -1: it was not
	now     safety.Instant
	event   machine.Event
	effects string
}

func (r *trace) fold(rows int) {
	if r != nil {
		r.steps = append(r.steps, traced{rows: rows})
	}
}

func (r *trace) step(t tb, now safety.Instant, e machine.Event, effects []machine.Effect) {
	if r != nil {
		r.steps = append(r.steps, traced{rows: -1, now: now, event: e, effects: marshal(t, effects)})
	}
}

// marshal writes effects down byte for byte.
func marshal(t tb, effects []machine.Effect) string {
	t.Helper()
	var b strings.Builder
	for _, e := range effects {
		j, err := json.Marshal(e)
		if err != nil {
			t.Fatalf("effect %T cannot be marshalled: %v", e, err)
		}
		fmt.Fprintf(&b, "%T %s\n", e, j)
	}
	return b.String()
}

// again plays the trace on a machine of its own and demands the same effects, byte for byte.
func (k *trace) again(t tb, r *rig) {
	t.Helper()
	var state machine.State
	for i, s := range k.steps {
		if s.rows >= 0 {
			state = r.foldOf(r.rows[:s.rows])
			continue
		}
		var effects []machine.Effect
		state, effects = machine.Step(state, s.now, s.event)
		if got := marshal(t, effects); got != s.effects {
			t.Fatalf("step %d (%T) played again:\n%s\nwant\n%s", i, s.event, got, s.effects)
		}
	}
}
