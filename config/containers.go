package config

import (
	"fmt"
	"time"

	"aliquot/planner/units"
	"aliquot/safety"
)

// Bounds of containers. The capacity has no upper bound but that of the type.
const (
	maxCapacity = 1_000_000 * safety.Millilitre
	maxWarn     = 365 * 24 * time.Hour
	maxHeightMM = 10_000
	maxTareG    = 1_000_000
)

func readContainer(e entry) Container {
	c := Container{ID: e.name, At: e.at}
	m, ok := e.open()
	if !ok {
		return c
	}
	take(m, "supplement", &c.Supplement, readText)
	take(m, "capacity", &c.Capacity, volume(10*safety.Millilitre, maxCapacity))
	take(m, "warn", &c.Warn, duration(time.Hour, maxWarn))
	take(m, "stop", &c.Stop, volume(safety.Millilitre, maxCapacity))
	var height float64
	if take(m, "top_to_outlet", &height, measure(units.ParseLength, -maxHeightMM, maxHeightMM, "mm")) {
		c.TopToOutletMM = &height
	}
	if v, ok := m.get("level"); ok {
		c.Level = readLevel(v)
	}
	checkLevel(e, c)
	if c.Capacity > 0 && c.Stop >= c.Capacity {
		e.r.at(e.path+".stop", fmt.Sprintf("stop is %v, capacity is %v", c.Stop, c.Capacity), "stop must be below capacity", "nothing could ever be dosed from it")
	}
	return c
}
