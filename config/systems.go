package config

import (
	"errors"
	"fmt"
	"time"

	"aliquot/planner"
	"aliquot/planner/assay"
	"aliquot/planner/units"
)

// Bounds of a system (H-33) and of test ages. A quantity without its own bound gets the longest.
const (
	minNetLitres  = 5
	maxNetLitres  = 20_000
	maxStaleAfter = 60 * 24 * time.Hour
	maxDueEvery   = 365 * 24 * time.Hour
	// Shares of the net volume a day: about 1 % is common practice, the other two are our own choice.
	usualEvaporation, maxEvaporation = 0.03, 0.1
)

func readSystem(e entry) System {
	s := System{ID: e.name, At: e.at}
	m, ok := e.open()
	if !ok {
		return s
	}
	take(m, "kind", &s.Kind, readWord(planner.Coral, planner.Fish, planner.Treatment))
	take(m, "net_volume", &s.NetLitres, readNetVolume)
	take(m, "salinity", &s.SalinityPSU, readEntryLevel(units.Salinity))
	take(m, "temperature", &s.TemperatureC, readEntryLevel(units.Temperature))
	readEvaporation(m, &s)
	if v, ok := m.get("light"); ok {
		readLight(v, &s.Light)
	}
	if v, ok := m.get("quantities"); ok {
		if qs, ok := v.open(); ok {
			for _, name := range qs.names {
				if t, ok := readTarget(entry{name, qs.items[name]}); ok {
					s.Quantities = append(s.Quantities, t)
				}
			}
		}
	}
	return s
}

func readLight(v value, l *planner.Light) {
	m, ok := v.open()
	if !ok {
		return
	}
	from, to := take(m, "from", &l.From, readClock), take(m, "to", &l.To, readClock)
	if from && to && !l.Told() {
		m.problem("from and to are the same time", "must be a part of the day", "leave `light` out where it is never dark")
	}
}

// readEvaporation reads what evaporates in a day and compares it with the water that there is.
func readEvaporation(m mapping, s *System) {
	if !take(m, "evaporation", &s.Evaporation, measure(units.ParseVolumePerDay, 1, maxEvaporation*maxNetLitres*1000, "mL/day")) || s.NetLitres <= 0 {
		return
	}
	path, share := childPath(m.path, "evaporation"), s.Evaporation/(1000*s.NetLitres)
	found := fmt.Sprintf("evaporation is %s L/day, net_volume is %s L", num(s.Evaporation/1000), num(s.NetLitres))
	switch {
	case share > maxEvaporation*(1+1e-9):
		m.r.at(path, found, fmt.Sprintf("at most a tenth of it a day, %s L", num(maxEvaporation*s.NetLitres)), "")
	case share > usualEvaporation*(1+1e-9):
		m.r.warn(path, found, fmt.Sprintf("more than %g %% of it a day", 100*usualEvaporation), "about 1 % is usual: measure it, it bounds limewater")
	}
}

func readNetVolume(v value) (float64, bool) {
	ml, ok := measure(units.ParseVolume, minNetLitres*1000, maxNetLitres*1000, "mL (5 L to 20000 L of water)")(v)
	return ml / 1000, ok
}

// readEntryLevel is a level that a living tank can have, as judged for a test.
func readEntryLevel(q units.Quantity) func(value) (float64, bool) {
	return func(v value) (float64, bool) {
		s, ok := readLine(v)
		if !ok {
			return 0, false
		}
		number, unit, err := units.ParseSplit(s)
		if err != nil {
			v.unitsProblem(err)
			return 0, false
		}
		x, verdict, err := assay.CheckEntry(q, number, unit, assay.Ordinary())
		if verdict != units.Accepted {
			v.levelProblem(s, verdict, err)
			return 0, false
		}
		return x, true
	}
}

// unitIn is the unit as written; empty where there is none that could be read.
func unitIn(m mapping, key string) string {
	v, ok := m.get(key)
	if !ok {
		return ""
	}
	_, unit, _ := units.ParseSplit(v.y.Value)
	return unit
}

// levelProblem words a level that is possible only in a crashed tank as out of range.
func (v value) levelProblem(s string, verdict units.EntryVerdict, err error) {
	var e *units.Error
	if verdict == units.NeedsConfirm && errors.As(err, &e) {
		v.problem(clip(s)+" is no level to keep livestock at", e.Allowed, "check the number and its unit")
		return
	}
	v.unitsProblem(err)
}

// doseable says whether a supplement can raise q.
func doseable(q units.Quantity) bool {
	_, ion := units.IonMass(q)
	return ion || q == units.Alkalinity
}

// doseableNames lists what a channel may follow or a label may claim.
func doseableNames() []string {
	var list []string
	for _, q := range units.Quantities() {
		if doseable(q) {
			list = append(list, string(q))
		}
	}
	return list
}

// quantityKey checks a key that names a quantity which supplements move.
func (e entry) quantityKey() (units.Quantity, bool) {
	q := units.Quantity(e.name)
	if q.Known() && doseable(q) {
		return q, true
	}
	found := fmt.Sprintf("%q is no quantity that a supplement moves", clip(e.name))
	e.problem(found, "known here: "+joined(doseableNames()), didYouMean(e.name, doseableNames()))
	return "", false
}

func readTarget(e entry) (Target, bool) {
	q, ok := e.quantityKey()
	t := Target{Quantity: q, At: e.at}
	if !ok {
		return t, false
	}
	m, ok := e.open()
	if !ok {
		return t, false
	}
	take(m, "target", &t.Target, readEntryLevel(q))
	t.Unit = unitIn(m, "target")
	if def, has := units.DefaultBand(q); has {
		t.Band = def
	} else if !m.has("band") {
		m.missing("band")
	}
	take(m, "band", &t.Band, positiveLevel(q))
	take(m, "max_rise", &t.MaxRise, changePerDay(q))
	t.MaxFall = t.MaxRise
	take(m, "max_fall", &t.MaxFall, changePerDay(q))
	take(m, "max_dose", &t.MaxDose, changePerDay(q))
	readTest(m, q, &t)
	return t, true
}

func readTest(m mapping, q units.Quantity, t *Target) {
	def, most, known := units.StaleLimits(q)
	if !known {
		most = maxStaleAfter
	}
	t.StaleAfter = def
	v, ok := m.get("test")
	if !ok {
		return
	}
	test, ok := v.open()
	if !ok {
		return
	}
	take(test, "sd", &t.TestSD, positiveLevel(q))
	take(test, "due_every", &t.DueEvery, duration(time.Hour, maxDueEvery))
	take(test, "stale_after", &t.StaleAfter, duration(time.Hour, most))
	if !known && !test.has("stale_after") {
		test.missing("stale_after")
	}
}

// positiveLevel is a level above zero, such as a band or a repeatability.
func positiveLevel(q units.Quantity) func(value) (float64, bool) {
	return above0(func(s string) (float64, error) { return units.ParseLevel(q, s) })
}

// changePerDay is a change above zero.
func changePerDay(q units.Quantity) func(value) (float64, bool) {
	return above0(func(s string) (float64, error) { return units.ParseLevelPerDay(q, s) })
}

func above0(parse func(string) (float64, error)) func(value) (float64, bool) {
	return func(v value) (float64, bool) {
		s, ok := readLine(v)
		if !ok {
			return 0, false
		}
		x, err := parse(s)
		if err != nil {
			v.unitsProblem(err)
			return 0, false
		}
		if !(x > 0) {
			v.problem(clip(s)+" is out of range", "must be above 0", "")
			return 0, false
		}
		return x, true
	}
}
