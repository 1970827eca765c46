package bridge

import (
	"fmt"
	"sort"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics"
	"aliquot/safety"
)

// LevelInput is a topic on which a container's scale, level sensor or float switch says what it reads.
type LevelInput struct {
	Container string
	Topic     string
	Reading   topics.ReadingSpec

	// Of a scale, or of a sensor that knows the container.
	Tare        float64 // reading of the empty container
	Millilitres float64 // for one unit above the tare

	// Of a sensor of height or distance, in its place: readings rising, volumes rising or falling.
	Table []LevelPoint

	// Of a float switch, in their place, mL: what the container holds at most while it says low (1), and else.
	Low, Full float64
}

// LevelPoint is what a container holds at a reading.
type LevelPoint struct{ Reading, Millilitres float64 }

// tableOver is how far a reading may lie beyond a table, as a share of it: the ends were measured too.
const tableOver = 0.02

// level reads what a container holds.
func (in *inbox) level(m Message, l *LevelInput) {
	e := machine.LevelRead{Container: l.Container, AtMost: l.Full > 0, Retained: m.Retained}
	v, err := topics.ParseReading(m.Payload, l.Reading)
	var ml float64
	if err == nil {
		ml, err = l.millilitres(v)
	}
	if err == nil {
		e.Volume, err = levelVolume(ml)
	}
	if err != nil {
		e.Bad = err.Error()
	}
	in.bridge.offer(e)
}

// millilitres is what a reading stands for.
func (l LevelInput) millilitres(reading float64) (float64, error) {
	switch {
	case l.Full > 0 && reading == 1:
		return l.Low, nil
	case l.Full > 0:
		return l.Full, nil
	case len(l.Table) > 1:
		return between(l.Table, reading)
	}
	return (reading - l.Tare) * l.Millilitres, nil
}

// between reads a table, straight lines between its points.
func between(table []LevelPoint, reading float64) (float64, error) {
	first, last := table[0], table[len(table)-1]
	over := tableOver * (last.Reading - first.Reading)
	if !(reading >= first.Reading-over && reading <= last.Reading+over) {
		return 0, fmt.Errorf("%g is outside the table, %g to %g", reading, first.Reading, last.Reading)
	}
	reading = min(max(reading, first.Reading), last.Reading)
	i := max(1, sort.Search(len(table), func(i int) bool { return table[i].Reading >= reading }))
	a, b := table[i-1], table[i]
	return a.Millilitres + (b.Millilitres-a.Millilitres)*(reading-a.Reading)/(b.Reading-a.Reading), nil
}

// levelVolume rounds down. A scale whose zero has drifted may read less than nothing.
func levelVolume(ml float64) (safety.Microlitres, error) {
	if ml < 0 {
		v, err := safety.MillilitresUp(-ml)
		return -v, err
	}
	return safety.MillilitresDown(ml)
}
