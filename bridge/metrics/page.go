package metrics

import (
	"math"
	"sync"
	"time"

	"aliquot/bridge/machine"

	"github.com/prometheus/client_golang/prometheus"
)

// page collects the last snapshot. Series of what has no value now, such as a stale probe, are left out.
type page struct {
	version string

	mu   sync.Mutex
	seen bool
	view machine.SiteView
	// most holds the largest dispensed volume seen, L: a run that was booked and then not sent lowers the ledger's
	// sum, and a counter that falls would count everything anew.
	most map[[2]string]float64
}

func newPage(version string) *page { return &page{version: version, most: map[[2]string]float64{}} }

func (p *page) observe(v machine.SiteView) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.seen, p.view = true, v
	for _, c := range v.Channels {
		p.raise(c.ID, "hi", c.TotalHiML)
		p.raise(c.ID, "lo", c.TotalLoML)
	}
}

func (p *page) raise(channel, bound string, ml float64) {
	key := [2]string{channel, bound}
	if l := liters(ml); finite(l) {
		p.most[key] = max(p.most[key], l)
	}
}

// Describe is part of prometheus.Collector.
func (p *page) Describe(ch chan<- *prometheus.Desc) {
	for _, name := range order {
		ch <- descs[name]
	}
}

// Collect is part of prometheus.Collector.
func (p *page) Collect(ch chan<- prometheus.Metric) {
	p.mu.Lock()
	defer p.mu.Unlock()
	o := out{ch}
	o.put("info", 1, p.version)
	if !p.seen {
		o.put("ready", 0)
		return
	}
	v := p.view
	o.site(v)
	for _, s := range v.Systems {
		o.put("system_net_liters", s.NetL, s.ID)
		o.maybe("system_aragonite_saturation_ratio", s.AragoniteSaturation, s.ID)
	}
	for _, q := range v.Quantities {
		o.quantity(q)
	}
	for _, c := range v.Channels {
		o.channel(c)
		o.counter("channel_dispensed_liters_total", p.most[[2]string{c.ID, "hi"}], c.ID, "hi")
		o.counter("channel_dispensed_liters_total", p.most[[2]string{c.ID, "lo"}], c.ID, "lo")
	}
	for _, c := range v.Containers {
		o.container(c)
	}
	for _, x := range v.Probes {
		o.probe(x)
	}
	for _, n := range v.Nodes {
		o.put("node_online", yes(n.Online), n.ID)
		o.time("node_proven_timestamp_seconds", n.Proven, n.ID)
	}
	for _, i := range v.Interlocks {
		o.put("interlock_active", yes(i.Active), i.Name)
		o.put("interlock_no_data", yes(i.NoData), i.Name)
	}
	o.alerts(v.Alerts)
}

// out sends samples.
type out struct{ ch chan<- prometheus.Metric }

// put sends a gauge, unless its value is not finite.
func (o out) put(name string, value float64, labels ...string) {
	if finite(value) {
		o.ch <- prometheus.MustNewConstMetric(descs[name], prometheus.GaugeValue, value, labels...)
	}
}

func (o out) counter(name string, value float64, labels ...string) {
	o.ch <- prometheus.MustNewConstMetric(descs[name], prometheus.CounterValue, value, labels...)
}

func (o out) maybe(name string, value *float64, labels ...string) {
	if value != nil {
		o.put(name, *value, labels...)
	}
}

func (o out) time(name string, at *time.Time, labels ...string) {
	if at != nil {
		o.put(name, seconds(*at), labels...)
	}
}

func (o out) site(v machine.SiteView) {
	o.put("ready", yes(v.Ready))
	o.put("snapshot_timestamp_seconds", seconds(v.At))
	o.put("ledger_rows", float64(v.LedgerRows))
	o.time("plan_timestamp_seconds", v.LastPlan)
	o.time("plan_next_timestamp_seconds", v.NextTick)
	o.withheld("withheld", v.Why)
}

// withheld sends one series per reason.
func (o out) withheld(name string, blocks []machine.BlockView, labels ...string) {
	holds := map[string]bool{}
	known := words(standing)
	for _, w := range known {
		holds[w] = false
	}
	for _, b := range blocks {
		if _, ok := holds[string(b.Code)]; ok {
			holds[string(b.Code)] = true
		} else {
			holds[other] = true
		}
	}
	for _, w := range append(known, other) {
		o.put(name, yes(holds[w]), append(labels[:len(labels):len(labels)], w)...)
	}
}

func (o out) quantity(q machine.QuantityView) {
	l := []string{q.System, q.Quantity, q.Unit}
	o.maybe("quantity_level", q.Level, l...)
	o.maybe("quantity_level_sd", q.LevelSD, l...)
	o.maybe("quantity_consumption_per_day", q.ConsumptionPerDay, l...)
	o.maybe("quantity_consumption_per_day_sd", q.ConsumptionSD, l...)
	o.put("quantity_target", q.Target, l...)
	o.put("quantity_band", q.Band, l...)
	o.put("quantity_tests", float64(q.TestsUsed), q.System, q.Quantity, "used")
	o.put("quantity_tests", float64(q.TestsSetAside), q.System, q.Quantity, "set_aside")
	o.put("quantity_test_unconfirmed", yes(q.Unconfirmed != nil), q.System, q.Quantity)
	o.time("quantity_test_timestamp_seconds", q.LastTest, q.System, q.Quantity)
	o.time("quantity_test_due_timestamp_seconds", q.TestDue, q.System, q.Quantity)
	o.time("quantity_next_test_timestamp_seconds", q.NextTest, q.System, q.Quantity)
	o.maybe("quantity_consumption_per_day_trend", q.TrendPerDay, l...)
	o.maybe("quantity_gain_ratio", q.Gain, q.System, q.Quantity)
	o.maybe("quantity_pending", q.Pending, l...)
	o.maybe("quantity_gain_ratio_sd", q.GainSD, q.System, q.Quantity)
}

func (o out) channel(c machine.ChannelView) {
	o.put("channel_running", yes(c.Running), c.ID)
	if c.RateMLPerMin != nil {
		o.put("channel_rate_liters_per_second", liters(*c.RateMLPerMin)/60, c.ID)
	}
	o.time("channel_calibrated_timestamp_seconds", c.Calibrated, c.ID)
	o.put("channel_provisional", yes(c.Provisional), c.ID)
	o.put("channel_primed", yes(c.Primed), c.ID)
	o.put("channel_planned_liters_per_day", liters(c.PlannedMLPerDay), c.ID)
	o.put("channel_window_liters", liters(c.Window24hHiML), c.ID)
	o.put("channel_window_limit_liters", liters(c.PerDayML), c.ID)
	o.put("channel_tubing_run_seconds", c.RunSeconds, c.ID)
	o.maybe("channel_tubing_life_seconds", c.TubingLifeSeconds, c.ID)
	if c.Next != nil {
		o.put("channel_next_run_timestamp_seconds", seconds(c.Next.At), c.ID)
		o.put("channel_next_run_liters", liters(c.Next.VolumeML), c.ID)
	}
	o.time("channel_last_run_timestamp_seconds", c.LastRun, c.ID)
	o.time("channel_cap_timestamp_seconds", c.CapExpected, c.ID)
	o.course(c.Course, c.ID)
	o.withheld("channel_withheld", c.Withheld, c.ID)
}

func (o out) course(k *machine.CourseView, channel string) {
	if k == nil {
		return
	}
	o.put("channel_course_given_liters", liters(k.GivenML), channel)
	if k.TotalML != nil {
		o.put("channel_course_total_liters", liters(*k.TotalML), channel)
	}
	o.put("channel_course_running", yes(k.State == machine.CourseRunning), channel)
}

func (o out) container(c machine.ContainerView) {
	o.put("container_capacity_liters", liters(c.CapacityML), c.ID)
	o.put("container_stop_liters", liters(c.StopML), c.ID)
	o.put("container_remaining_liters", liters(c.RemainingMinML), c.ID, "min")
	o.put("container_remaining_liters", liters(c.RemainingMaxML), c.ID, "max")
	if c.DaysLeft != nil {
		o.put("container_lasts_seconds", *c.DaysLeft*24*3600, c.ID)
	}
	if c.DaysLeftLow != nil {
		o.put("container_lasts_low_seconds", *c.DaysLeftLow*24*3600, c.ID)
	}
	if c.LevelML != nil {
		o.put("container_level_liters", liters(*c.LevelML), c.ID)
	}
	o.put("container_low", yes(c.Low), c.ID)
	o.put("container_empty", yes(c.Empty), c.ID)
}

func (o out) probe(p machine.ProbeView) {
	o.put("probe_good", yes(p.Good), p.ID)
	o.time("probe_seen_timestamp_seconds", p.Seen, p.ID)
	if p.Good {
		o.maybe("probe_value", p.Value, p.ID, p.Quantity, p.Unit)
	}
}

// alertLevels are those of package machine.
var alertLevels = []string{machine.Critical, machine.Warning, machine.Notice}

func (o out) alerts(all []machine.AlertView) {
	for _, level := range alertLevels {
		raised, open := 0, 0
		for _, a := range all {
			if a.Level == level && a.Raised {
				raised++
				if !a.Acknowledged {
					open++
				}
			}
		}
		o.put("alerts_raised", float64(raised), level)
		o.put("alerts_unacknowledged", float64(open), level)
	}
}

func liters(ml float64) float64 { return ml / 1000 }

func seconds(at time.Time) float64 { return float64(at.UnixMilli()) / 1000 }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func yes(on bool) float64 {
	if on {
		return 1
	}
	return 0
}
