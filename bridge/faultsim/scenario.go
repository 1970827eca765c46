package faultsim

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"strings"
	"time"
)

// Scenario decides everything that happens in a trace.
type Scenario struct {
	Seed   uint64
	Days   int           // 1 to 366
	Tail   time.Duration // at the end, without faults; liveness is asserted if it is at least 48 h
	Start  time.Time     // UTC
	Zone   *time.Location
	Greedy bool // the caps are small enough to be reached
	Timed  bool // the relay's command carries its time; else the relay has a fixed one
	Fed    bool // the pumps hang behind a supply relay
	Awake  bool // the machine is woken every 15 s, as the service does, not only when something is due
	Faults []Fault
}

// LeastTail is the shortest tail in which liveness is asserted.
const LeastTail = 48 * time.Hour

// calm is the time at the start in which the keeper brings the site into service.
const calm = 3 * time.Hour

func pow(share, most float64) float64 { return math.Exp(share * math.Log(max(1, most))) }

// FromSeed draws a scenario. The zones are those that it may lie in.
func FromSeed(seed uint64, days int, zones []*time.Location) Scenario {
	r := rand.New(rand.NewPCG(seed, 1))
	// A winter's day, and the nights in which clocks change in the north and in the south.
	starts := []time.Time{time.Date(2027, 1, 10, 12, 0, 0, 0, time.UTC), time.Date(2027, 3, 26, 9, 0, 0, 0, time.UTC),
		time.Date(2027, 4, 2, 8, 0, 0, 0, time.UTC), time.Date(2027, 10, 1, 8, 0, 0, 0, time.UTC), time.Date(2027, 10, 29, 9, 0, 0, 0, time.UTC)}
	s := Scenario{Seed: seed, Days: days, Start: starts[r.IntN(len(starts))], Zone: zones[r.IntN(len(zones))],
		Greedy: r.IntN(3) == 0, Timed: r.IntN(3) == 0, Awake: r.IntN(12) == 0}
	s.Fed = r.IntN(3) == 0
	end := time.Duration(days) * 24 * time.Hour
	if days >= 4 && r.IntN(2) == 0 {
		s.Tail = LeastTail
	}
	s.Faults = draw(menu, r, calm, end-s.Tail)
	if s.Fed {
		s.Faults = append(s.Faults, draw(fedOnly, r, calm, end-s.Tail)...)
	}
	for _, f := range s.Faults {
		s.Awake = s.Awake || f.Kind == SecondHost && days <= 10
	}
	sort.SliceStable(s.Faults, func(i, j int) bool { return s.Faults[i].At < s.Faults[j].At })
	return s
}

// String writes a scenario down so that Read gives it back.
func (s Scenario) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "seed %d\ndays %d\ntail %s\nstart %s\nzone %s\n", s.Seed, s.Days, s.Tail, s.Start.Format(time.RFC3339), s.Zone)
	for _, flag := range s.flags() {
		if *flag.on {
			fmt.Fprintln(&b, flag.name)
		}
	}
	for _, f := range s.Faults {
		fmt.Fprintln(&b, f)
	}
	return b.String()
}

type toggle struct {
	name string
	on   *bool
}

func (s *Scenario) flags() []toggle {
	return []toggle{{"greedy", &s.Greedy}, {"timed", &s.Timed}, {"fed", &s.Fed}, {"awake", &s.Awake}}
}

// Read reads a scenario as String writes it; what follows a # is for people. zone finds a zone by its name.
func Read(text string, zone func(string) (*time.Location, error)) (Scenario, error) {
	var s Scenario
	for i, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, "#")
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		if err := s.read(words, zone); err != nil {
			return s, fmt.Errorf("line %d (%s): %w", i+1, strings.TrimSpace(line), err)
		}
	}
	if s.Zone == nil || s.Start.IsZero() {
		return s, errors.New("a scenario needs a start and a zone")
	}
	return s, nil
}

func (s *Scenario) read(words []string, zone func(string) (*time.Location, error)) (err error) {
	for _, flag := range s.flags() {
		if words[0] == flag.name {
			*flag.on = true
			return nil
		}
	}
	if words[0] == "fault" {
		f, err := readFault(words[1:])
		s.Faults = append(s.Faults, f)
		return err
	}
	if len(words) != 2 {
		return errors.New("a name and one value are expected")
	}
	switch words[0] {
	case "seed":
		_, err = fmt.Sscanf(words[1], "%d", &s.Seed)
	case "days":
		_, err = fmt.Sscanf(words[1], "%d", &s.Days)
	case "tail":
		s.Tail, err = time.ParseDuration(words[1])
	case "start":
		s.Start, err = time.Parse(time.RFC3339, words[1])
	case "zone":
		s.Zone, err = zone(words[1])
	default:
		err = errors.New("nothing of a scenario is called so")
	}
	return err
}
