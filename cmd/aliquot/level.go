package main

import (
	"aliquot/bridge"
	"aliquot/bridge/topics"
	"aliquot/config"
)

// levelInputs are the level sensors of a site, with what their readings mean.
func levelInputs(c *config.Site) []bridge.LevelInput {
	var out []bridge.LevelInput
	for _, k := range c.Containers {
		if k.Level != nil {
			out = append(out, levelInput(k, k.Level))
		}
	}
	return out
}

func levelInput(k config.Container, l *config.Level) bridge.LevelInput {
	in := bridge.LevelInput{Container: k.ID, Topic: l.Topic, Reading: topics.ReadingSpec{Path: l.Path, On: l.Low, Off: l.Enough}}
	switch l.Unit {
	case "g":
		in.Tare, in.Millilitres = l.TareG, 1/l.DensityKgPerL
	case "kg":
		in.Tare, in.Millilitres = l.TareG/1000, 1000/l.DensityKgPerL
	case "mL":
		in.Millilitres = 1
	case "L":
		in.Millilitres = 1000
	case "%":
		in.Millilitres = k.Capacity.Millilitres() / 100
	case "mm", "cm":
		one := 1.0 // mm in a unit of the readings
		if l.Unit == "cm" {
			one = 10
		}
		for _, p := range l.Table {
			in.Table = append(in.Table, bridge.LevelPoint{Reading: p.MM / one, Millilitres: p.Holds.Millilitres()})
		}
	case "switch":
		in.Low, in.Full = l.Mark.Millilitres(), k.Capacity.Millilitres()
	}
	return in
}
