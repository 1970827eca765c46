package metrics

import (
	"net/http"
	"slices"
	"time"

	"aliquot/bridge/machine"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Metrics holds the sums and the last snapshot.
type Metrics struct {
	registry *prometheus.Registry
	page     *page
	counters map[machine.Metric][]counter
	losses   prometheus.Counter
	dropped  prometheus.Counter
	ways     map[WayCount]*prometheus.CounterVec
}

// WayCount is what is counted of the ways on which alerts are told beside the broker.
type WayCount int

// Counts of a way.
const (
	WayAttempts WayCount = iota
	WayFailures
	WayDropped
)

// theWays are all that there are, configured or not.
var theWays = []string{"webhook", "command"}

// New makes the metrics of a site. Every counter of a configured name stands at 0 from the start; what comes from
// snapshots is missing until the first one.
func New(site machine.Site) *Metrics {
	m := &Metrics{registry: prometheus.NewRegistry()}
	reg := prometheus.WrapRegistererWith(prometheus.Labels{"site": site.Name}, m.registry)
	m.page = newPage(site.Version)
	reg.MustRegister(m.page)
	m.counters = countersOf(reg, site)
	m.losses = plain(reg, "aliquot_mqtt_connection_losses_total", "Connections to the broker that broke.")
	m.dropped = plain(reg, "aliquot_messages_dropped_total", "Messages from the broker that found no room, or came too fast.")
	m.ways = waysOf(reg)
	return m
}

func waysOf(reg prometheus.Registerer) map[WayCount]*prometheus.CounterVec {
	out := map[WayCount]*prometheus.CounterVec{}
	for _, w := range []struct {
		count      WayCount
		name, help string
	}{
		{WayAttempts, "aliquot_notification_attempts_total", "Attempts to tell an alert, by way."},
		{WayFailures, "aliquot_notification_failures_total", "Attempts to tell an alert that failed, by way."},
		{WayDropped, "aliquot_notifications_dropped_total", "Alerts that found no room or grew too old before they could be told, by way."},
	} {
		vec := prometheus.NewCounterVec(prometheus.CounterOpts{Name: w.name, Help: w.help}, []string{"way"})
		reg.MustRegister(vec)
		for _, way := range theWays {
			vec.WithLabelValues(way)
		}
		out[w.count] = vec
	}
	return out
}

func plain(reg prometheus.Registerer, name, help string) prometheus.Counter {
	c := prometheus.NewCounter(prometheus.CounterOpts{Name: name, Help: help})
	reg.MustRegister(c)
	return c
}

// AddRuntime adds what Go and the operating system know of the process: memory, goroutines, open files. It is
// called at most once.
func (m *Metrics) AddRuntime() {
	m.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
}

// Observe takes a snapshot, which must not change any more.
func (m *Metrics) Observe(v machine.SiteView) { m.page.observe(v) }

// Count adds one to a counter. An unknown metric is ignored: the machine and this package are built together, and
// a scrape is no place to fail.
func (m *Metrics) Count(c machine.Count) {
	for _, one := range m.counters[c.Metric] {
		one.add(c.Labels)
	}
}

// ConnectionLost counts a connection to the broker that broke.
func (m *Metrics) ConnectionLost() { m.losses.Inc() }

// Dropped counts a message from the broker that was not read.
func (m *Metrics) Dropped() { m.dropped.Inc() }

// CountWay adds one to what is counted of a way.
func (m *Metrics) CountWay(way string, c WayCount) {
	if !slices.Contains(theWays, way) {
		way = other
	}
	m.ways[c].WithLabelValues(way).Inc()
}

// Handler answers scrapes.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4, Timeout: 10 * time.Second})
}
