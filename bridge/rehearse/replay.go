package rehearse

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/safety"
)

// Replayed is how the estimator would have done, and did, on a keeper's own past.
type Replayed struct {
	Site       string             `json:"site"`
	Rows       int                `json:"rows"`
	From       *time.Time         `json:"from"` // null: the history is empty
	To         *time.Time         `json:"to"`
	Quantities []ReplayedQuantity `json:"quantities"`
	Tests      []ReplayedTest     `json:"tests"`
	Notes      []string           `json:"notes"`
}

// ReplayedQuantity sums the predictions of one quantity up. RMSError and the share are of the tests for which there
// was a prediction, those that were set aside left out of RMSError only.
type ReplayedQuantity struct {
	System    string   `json:"system"`
	Quantity  string   `json:"quantity"`
	Unit      string   `json:"unit"`
	Target    float64  `json:"target"`
	Band      float64  `json:"band"`
	Tests     int      `json:"tests"`
	Predicted int      `json:"predicted"` // tests for which there was a prediction
	SetAside  int      `json:"set_aside"`
	RMSError  *float64 `json:"rms_error"` // null: nothing was predicted
	Within90  *float64 `json:"within_90_percent"`
	Series    []Sample `json:"-"`
}

// ReplayedTest is one test with what had been predicted for it.
type ReplayedTest struct {
	At          time.Time `json:"at"`
	System      string    `json:"system"`
	Quantity    string    `json:"quantity"`
	Unit        string    `json:"unit"`
	Value       float64   `json:"value"`
	Predicted   *float64  `json:"predicted"` // null: there was no prediction
	PredictedSD *float64  `json:"predicted_sd"`
	Error       *float64  `json:"error"`   // value less prediction
	Verdict     string    `json:"verdict"` // accepted, held, refused
	Became      string    `json:"became"`  // of a held one: confirmed, refuted, or open
	Planned     []Planned `json:"planned_ml_per_day"`
}

// Planned is what the plan after a test gives in 24 h.
type Planned struct {
	Channel string  `json:"channel"`
	ML      float64 `json:"ml"`
}

// Replay folds a history, whose rows come in the order of time, and asks before and after each test what was
// believed. Nothing is simulated.
func Replay(site *machine.Site, rows []machine.Row) Replayed {
	r := replay{site: site, fold: machine.NewFold(site), out: Replayed{Site: site.Name, Rows: len(rows), Quantities: []ReplayedQuantity{}, Tests: []ReplayedTest{}, Notes: []string{}}}
	for _, y := range site.Systems {
		for _, g := range y.Targets {
			r.out.Quantities = append(r.out.Quantities, ReplayedQuantity{System: y.ID, Quantity: string(g.Quantity), Unit: g.Quantity.Unit(), Target: g.Target, Band: g.Band})
		}
	}
	for _, row := range rows {
		r.sampleUntil(row.At)
		r.take(row)
		r.lookBack(row.At, false)
	}
	if len(rows) > 0 {
		from, to := rows[0].At, rows[len(rows)-1].At
		r.out.From, r.out.To = &from, &to
		r.look(to)
		r.lookBack(to, true)
	}
	r.sum()
	return r.out
}

type replay struct {
	site *machine.Site
	fold *machine.Fold
	out  Replayed
	next time.Time // when the next sample is due
	// lookedBack is when it was worked out last what was believed afterwards.
	lookedBack time.Time
}

// replayEvery is how often the level that was believed is looked at between tests.
const replayEvery = 6 * time.Hour

func (r *replay) sampleUntil(at time.Time) {
	if r.next.IsZero() || at.Sub(r.next) > 400*24*time.Hour {
		r.next = at
	}
	for r.next.Before(at) {
		r.look(r.next)
		r.next = r.next.Add(replayEvery)
	}
}

func (r *replay) look(at time.Time) {
	s := r.fold.State()
	for _, e := range machine.Estimates(&s, at) {
		for i := range r.out.Quantities {
			if q := &r.out.Quantities[i]; q.System == e.System && q.Quantity == e.Quantity {
				q.Series = append(q.Series, Sample{At: at, Believed: e.Level, BelievedSD: e.LevelSD, BelievedUse: e.ConsumptionPerDay, UseSD: e.ConsumptionSD})
			}
		}
	}
}

func (r *replay) take(row machine.Row) {
	b, isTest := row.Body.(machine.Test)
	if !isTest || (b.Of != "" && b.Of != "tank") || !r.follows(b) {
		r.fold.Add(row)
		return
	}
	r.look(row.At)
	r.fold.Add(row)
	r.look(row.At)
	got := r.fold.Judged(b.System)
	t := ReplayedTest{At: b.Taken, System: b.System, Quantity: string(b.Quantity), Unit: b.Quantity.Unit(), Value: b.Level, Verdict: got.Verdict.String(), Planned: []Planned{}}
	if got.Known {
		miss := got.Value - got.Predicted
		t.Predicted, t.PredictedSD, t.Error = &got.Predicted, &got.PredictedSD, &miss
	}
	if got.Verdict == estimate.Held {
		t.Became = "open"
	}
	r.resolve(b, got.Resolved)
	s := r.fold.State()
	plan := machine.Preview(&s, row.At)
	for _, c := range r.site.Channels {
		if c.System != b.System || c.Mode != planner.Follow || c.Quantity != b.Quantity {
			continue
		}
		p := Planned{Channel: c.ID}
		for _, run := range plan.Runs {
			if run.Channel == c.ID {
				p.ML += run.VolumeML
			}
		}
		t.Planned = append(t.Planned, p)
	}
	r.out.Tests = append(r.out.Tests, t)
}

func (r *replay) follows(b machine.Test) bool {
	for _, q := range r.out.Quantities {
		if q.System == b.System && q.Quantity == string(b.Quantity) {
			return true
		}
	}
	return false
}

// resolve says what became of the test that was held before this one.
func (r *replay) resolve(b machine.Test, how estimate.Resolution) {
	if how == estimate.None {
		return
	}
	for i := len(r.out.Tests) - 1; i >= 0; i-- {
		if t := &r.out.Tests[i]; t.System == b.System && t.Quantity == string(b.Quantity) && t.Became == "open" {
			t.Became = how.String()
			return
		}
	}
}

func (r *replay) sum() {
	for i := range r.out.Quantities {
		q := &r.out.Quantities[i]
		squares, within, judged := 0.0, 0, 0
		for _, t := range r.out.Tests {
			if t.System != q.System || t.Quantity != q.Quantity {
				continue
			}
			q.Tests++
			aside := t.Became == "open" || t.Became == estimate.Refuted.String()
			if aside {
				q.SetAside++
			}
			if t.Error == nil {
				continue
			}
			q.Predicted++
			if math.Abs(*t.Error) <= z90**t.PredictedSD {
				within++
			}
			if !aside {
				judged++
				squares += *t.Error * *t.Error
			}
		}
		if judged > 0 {
			rms := math.Sqrt(squares / float64(judged))
			q.RMSError = &rms
		}
		if q.Predicted > 0 {
			share := 100 * float64(within) / float64(q.Predicted)
			q.Within90 = &share
		}
	}
}

// AsTests gives the tests in the form of a rehearsal's, for plots that show both.
func (r Replayed) AsTests() []Test {
	var out []Test
	for _, t := range r.Tests {
		one := Test{At: t.At, System: t.System, Quantity: t.Quantity, Unit: t.Unit, Value: t.Value, Expected: t.Predicted, ExpectedSD: t.PredictedSD,
			Code: safety.OK, Held: t.Verdict != estimate.Accepted.String() && t.Became != estimate.Confirmed.String()}
		var plans []string
		for _, p := range t.Planned {
			plans = append(plans, fmt.Sprintf("%s %.1f mL/day", p.Channel, p.ML))
		}
		one.PlannedNote = strings.Join(plans, ", ")
		out = append(out, one)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].At.Before(out[j].At) })
	return out
}
