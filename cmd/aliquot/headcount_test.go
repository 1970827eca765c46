package main

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"aliquot/bridge"
	"aliquot/bridge/machine"
)

// headcountEnv has a child that is the service say how many readings have got as far as the metrics, as a bare subscriber does of
// messages. A scrape of a farm takes too long to tell what was when.
const headcountEnv = "ALIQUOT_TEST_HEADCOUNT"

const headcountEvery = 50 * time.Millisecond

// headcount counts, and says its count and the time again and again.
type headcount struct{ atomic.Int64 }

func (c *headcount) speak() {
	for range time.Tick(headcountEvery) {
		fmt.Fprintf(os.Stdout, "headcount %d %d\n", time.Now().UnixMicro(), c.Load())
	}
}

// wrap counts the readings of a service.
func (c *headcount) wrap(o bridge.Options) bridge.Options {
	o.Metrics = headcountMetrics{o.Metrics, c}
	return o
}

type headcountMetrics struct {
	bridge.Metrics
	c *headcount
}

func (m headcountMetrics) Count(n machine.Count) {
	m.Metrics.Count(n)
	if n.Metric == machine.MetricReadings {
		m.c.Add(1)
	}
}

// headcountAt is what a child had counted at a moment, by the last word before it and the first behind.
func (p *process) headcountAt(at time.Time) float64 {
	p.t.Helper()
	var before, count float64
	for deadline := time.Now().Add(patience); time.Now().Before(deadline); <-time.After(headcountEvery) {
		for line := range strings.Lines(p.out.text()) {
			var micro int64
			var n float64
			if c, _ := fmt.Sscanf(line, "headcount %d %g\n", &micro, &n); c != 2 {
				continue
			}
			if then := float64(micro); then >= float64(at.UnixMicro()) {
				return count + (n-count)*(float64(at.UnixMicro())-before)/(then-before)
			}
			before, count = float64(micro), n
		}
	}
	p.t.Fatalf("%s has stopped counting", p.name)
	return 0
}

// processor is what a child has taken of it so far.
func (p *process) processor() (sum time.Duration) {
	p.t.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.cmd.Process.Pid))
	if err != nil {
		p.t.Fatal(err)
	}
	words := strings.Fields(string(stat[strings.LastIndexByte(string(stat), ')'):]))
	for _, word := range words[12:14] { // utime and stime, in hundredths of a second: proc(5)
		n, err := strconv.Atoi(word)
		if err != nil {
			p.t.Fatal(err)
		}
		sum += time.Duration(n) * 10 * time.Millisecond
	}
	return sum
}
