package metrics

import (
	"slices"

	"aliquot/bridge/machine"

	"github.com/prometheus/client_golang/prometheus"
)

// counter is one counter with the values that each of its labels may have. pick says which of the two labels of a
// machine.Count they are.
type counter struct {
	vec    *prometheus.CounterVec
	pick   []int
	values [][]string
	known  []map[string]bool                // values, to look them up
	series map[[2]string]prometheus.Counter // of known values, by the labels that are picked; complete from the start
}

func newCounter(reg prometheus.Registerer, name, help string, labels []string, pick []int, values ...[]string) counter {
	c := counter{vec: prometheus.NewCounterVec(prometheus.CounterOpts{Name: name, Help: help}, labels), pick: pick, values: values}
	for _, list := range values {
		known := map[string]bool{}
		for _, v := range list {
			known[v] = true
		}
		c.known = append(c.known, known)
	}
	reg.MustRegister(c.vec)
	c.series = map[[2]string]prometheus.Counter{}
	c.zero(nil)
	return c
}

// zero makes every known series, so that the first event is a step from 0 that rate() and alerts can see.
func (c counter) zero(chosen []string) {
	if len(chosen) == len(c.values) {
		var labels [2]string
		copy(labels[:], chosen)
		c.series[labels] = c.vec.WithLabelValues(chosen...)
		return
	}
	for _, v := range c.values[len(chosen)] {
		c.zero(append(slices.Clone(chosen), v))
	}
}

func (c counter) add(labels [2]string) {
	var chosen [2]string
	for i, p := range c.pick {
		chosen[i] = labels[p]
	}
	if known := c.series[chosen]; known != nil {
		known.Inc()
		return
	}
	for i := range c.pick {
		if !c.known[i][chosen[i]] {
			chosen[i] = other
		}
	}
	c.vec.WithLabelValues(chosen[:len(c.pick)]...).Inc()
}

// countersOf makes every counter for the names of a site.
func countersOf(reg prometheus.Registerer, site machine.Site) map[machine.Metric][]counter {
	channels := names(site.Channels, func(c machine.Channel) string { return c.ID })
	nodes := names(site.Nodes, func(n machine.Node) string { return n.ID })
	probes := names(site.Probes, func(p machine.Probe) string { return p.ID })
	var systems []string
	for _, s := range site.Systems {
		systems = append(systems, s.ID)
	}
	outcomes := words([]machine.Outcome{machine.Finished, machine.Partial, machine.Unknown, machine.NotSent, machine.Refused, machine.Extra})
	states := append(words([]machine.ReportState{machine.ReportStarted, machine.ReportFinished, machine.ReportStopped, machine.ReportRefused}), "on", "off")
	both, first, second := []int{0, 1}, []int{0}, []int{1}
	return map[machine.Metric][]counter{
		machine.MetricRuns: {newCounter(reg, "aliquot_runs_total", "Runs that ended, by outcome.",
			[]string{"channel", "outcome"}, both, channels, outcomes)},
		machine.MetricWithheld: {newCounter(reg, "aliquot_runs_withheld_total", "Planned runs that did not run, by the first reason.",
			[]string{"channel", "reason"}, both, channels, words(standing, momentary))},
		machine.MetricRequests: {
			newCounter(reg, "aliquot_requests_total", "Requests that were answered, by verb.", []string{"verb"}, first, words(machine.Verbs())),
			newCounter(reg, "aliquot_answers_total", "Answers to requests, by code.", []string{"code"}, second, words(answering, standing, momentary))},
		machine.MetricProblems: {newCounter(reg, "aliquot_problems_total", "Messages that could not be used and changed nothing, by code.",
			[]string{"code"}, first, words(answering))},
		machine.MetricReadings: {newCounter(reg, "aliquot_probe_readings_total", "Readings of probes, by whether they could be used.",
			[]string{"probe", "result"}, both, probes, []string{"good", "bad"})},
		machine.MetricTests: {newCounter(reg, "aliquot_tests_total", "Manual tests that were entered.",
			[]string{"system", "quantity"}, both, systems, targets(site))},
		machine.MetricReports: {newCounter(reg, "aliquot_node_reports_total", "Reports of bounded-run nodes and states of switches.",
			[]string{"node", "state"}, both, nodes, states)},
	}
}

// targets gives every quantity that some system has a target for.
func targets(site machine.Site) []string {
	var out []string
	for _, s := range site.Systems {
		for _, g := range s.Targets {
			if q := string(g.Quantity); !slices.Contains(out, q) {
				out = append(out, q)
			}
		}
	}
	return out
}

func names[T any](list []T, name func(T) string) []string {
	out := make([]string, 0, len(list))
	for _, x := range list {
		out = append(out, name(x))
	}
	return out
}
