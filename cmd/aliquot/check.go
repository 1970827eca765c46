package main

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"
	"time"

	"aliquot/config"
	"aliquot/planner"
	"aliquot/planner/acidity"
	"aliquot/planner/metering"
	"aliquot/planner/seawater"
	"aliquot/planner/units"
	"aliquot/safety"
)

type checkCommand struct {
	Format  string `help:"text or json." enum:"text,json" default:"text"`
	Against string `help:"Say only in what it differs from this older file." placeholder:"FILE" type:"existingfile"`
	Schema  bool   `help:"Print the JSON Schema of a configuration, for editors, and check nothing."`
}

// Run says what was understood, so that a keeper can see a slip before a pump does.
func (c checkCommand) Run(std stream, g *Globals) error {
	if c.Schema {
		_, err := std.out.Write(config.JSONSchema())
		return err
	}
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	if c.Against != "" {
		return c.compare(std, l)
	}
	u := understand(l)
	if c.Format == "json" {
		return writeJSON(std.out, u)
	}
	return u.write(std.out)
}

// compare says in what the configuration differs from another one that passes too.
func (c checkCommand) compare(std stream, l loaded) error {
	older, err := load(c.Against)
	if err != nil {
		return err
	}
	differences := l.Differences(older.Site)
	if c.Format == "json" {
		return writeJSON(std.out, differences)
	}
	for _, d := range differences {
		place := c.Against
		if d.At.Line > 0 {
			place = fmt.Sprintf("%s:%d:%d", l.File, d.At.Line, d.At.Col)
		}
		fmt.Fprintf(std.out, "%s: %s\n", place, d)
	}
	_, err = fmt.Fprintf(std.out, "%s is accepted; %s from %s\n", l.File, count(len(differences), "difference"), c.Against)
	return err
}

// understood is what `check` shows.
type understood struct {
	Site        string           `json:"site"`
	Supplements []supplementView `json:"supplements"`
	Channels    []channelView    `json:"channels"`
	KeepApart   []pairView       `json:"keep_apart"`
	NeverMixed  []neverView      `json:"never_in_one_container"`
	Pairs       []string         `json:"calcium_with_alkalinity"`
	Creep       []string         `json:"salinity_creep"`
	Limewater   []string         `json:"limewater,omitempty"`
	Warnings    []string         `json:"warnings"`
	NotYet      []string         `json:"not_yet_in_effect"`
}

type supplementView struct {
	Supplement string       `json:"supplement"`
	Strengths  []effectView `json:"rise_by_1_ml_in_1_l"`
	Dissolving string       `json:"dissolving,omitempty"` // at 20 degC
	// LateShare of the alkalinity appears over AppearsOverH hours; left out where all of it is there at once.
	LateShare    float64  `json:"late_share_of_alkalinity,omitempty"`
	AppearsOverH float64  `json:"appears_over_h,omitempty"`
	Cautions     []string `json:"cautions"`
}

type effectView struct {
	Quantity string  `json:"quantity"`
	Value    float64 `json:"value"`
	Unit     string  `json:"unit"`
}

type channelView struct {
	Channel      string       `json:"channel"`
	Volume       string       `json:"volume"`
	LineML       float64      `json:"line_ml"`
	PrimeML      float64      `json:"prime_ml"`
	LongestRunS  *float64     `json:"longest_run_s"` // per_run at the nominal rate
	LargestRun   []effectView `json:"largest_run"`
	LargestDay   []effectView `json:"largest_day"`
	WholeContent []effectView `json:"whole_container"`
	PH           *phView      `json:"ph"` // null where the salts are not known, or bring no alkalinity at once
}

// phView is what a channel does to pH, total scale, if the air has no part in it.
type phView struct {
	LargestRun float64  `json:"largest_run_step"`
	LargestDay float64  `json:"largest_day_step"` // all of it at once: the worst
	PlannedML  *float64 `json:"planned_run_at_most_ml"`
}

type pairView struct {
	A       string  `json:"a"`
	B       string  `json:"b"`
	Minutes float64 `json:"gap_minutes"`
	Why     string  `json:"why"`
}

func understand(l loaded) understood {
	u := understood{Site: l.Name, Warnings: []string{}, NotYet: []string{}, KeepApart: []pairView{}, Creep: []string{}}
	strength := map[string]map[units.Quantity]float64{}
	for _, p := range l.Supplements {
		strength[p.ID] = p.Strength
		u.Supplements = append(u.Supplements, supplementView{Supplement: p.ID, Strengths: effects(p.Strength, 1), Dissolving: dissolving(p),
			LateShare: significant(p.LateShare), AppearsOverH: significant(p.AppearsOver.Hours()), Cautions: cautions(p)})
	}
	u.Limewater = limewater(l)
	box := map[string]config.Container{}
	for _, k := range l.Containers {
		box[k.ID] = k
	}
	net := map[string]float64{}
	for _, y := range l.Systems {
		net[y.ID] = y.NetLitres
		if doses(l, y.ID) {
			u.Creep = append(u.Creep, creepOf(y))
		}
	}
	for _, ch := range l.Channels {
		k := box[ch.Container]
		v := describe(ch, k, strength[k.Supplement], net[ch.System])
		if a, ok := channelAcidity(l.Site, ch); ok {
			v.PH = describePH(a, ch)
		}
		u.Channels = append(u.Channels, v)
	}
	u.NeverMixed = neverMixed(l.Supplements)
	u.Pairs = pairLines(l, func(ch config.Channel) map[units.Quantity]float64 { return strength[box[ch.Container].Supplement] })
	for _, p := range l.KeepApart {
		why := "as configured"
		if p.Implicit {
			why = "their solutions do not go together"
		}
		u.KeepApart = append(u.KeepApart, pairView{p.A, p.B, p.Gap.Minutes(), why})
	}
	for _, w := range l.warnings {
		u.Warnings = append(u.Warnings, w.String())
	}
	for _, n := range l.NotYet {
		u.NotYet = append(u.NotYet, fmt.Sprintf("%s (line %d): %s", n.Path, n.At.Line, n.Why))
	}
	return u
}

func describe(ch config.Channel, k config.Container, strength map[units.Quantity]float64, litres float64) channelView {
	v := channelView{Channel: ch.ID, Volume: volumeOf(ch), LineML: metering.LineVolumeML(ch.Line.BoreMM, ch.Line.LengthMM/1000)}
	if prime, err := metering.PrimeVolume(ch.Line.BoreMM, ch.Line.LengthMM/1000); err == nil {
		v.PrimeML = prime.Millilitres()
	}
	if ch.NominalRate > 0 {
		s := ch.NominalRate.TimeFor(ch.Limits.PerRun).Seconds()
		v.LongestRunS = &s
	}
	v.LargestRun = effects(strength, ch.Limits.PerRun.Millilitres()/litres)
	v.LargestDay = effects(strength, ch.Limits.PerDay.Millilitres()/litres)
	v.WholeContent = effects(strength, k.Capacity.Millilitres()/litres)
	return v
}

func describePH(a acidity.Effect, ch config.Channel) *phView {
	run, err := a.Step(ch.Limits.PerRun.Millilitres())
	day, also := a.Step(ch.Limits.PerDay.Millilitres())
	if err != nil || also != nil {
		return nil
	}
	v := &phView{LargestRun: significant(run), LargestDay: significant(day)}
	if g := gentle(a); g > 0 && g < ch.Limits.PerRun {
		ml := g.Millilitres()
		v.PlannedML = &ml
	}
	return v
}

func volumeOf(ch config.Channel) string {
	switch ch.Mode {
	case planner.Follow:
		return "follows " + string(ch.Follow)
	case planner.Fixed:
		return fmt.Sprintf("fixed %g mL a day", ch.FixedPerDay) + courseOf(ch.Course)
	}
	return fmt.Sprintf("%g times %s", ch.ShareRatio, ch.ShareOf)
}

// courseOf says what ends a channel by itself.
func courseOf(c safety.Course) string {
	words := ""
	if !c.From.IsZero() {
		words += " from " + c.From.Format(time.DateOnly)
	}
	if !c.Until.IsZero() {
		words += " to " + c.Until.Format(time.DateOnly)
	}
	if c.Total > 0 {
		words += fmt.Sprintf(", at most %s in all", c.Total)
	}
	return words
}

// effects lists what a strength does, times a factor, in the order of the quantities.
func effects(strength map[units.Quantity]float64, factor float64) []effectView {
	out := []effectView{}
	for _, q := range units.Quantities() {
		if s := strength[q]; s != 0 {
			out = append(out, effectView{string(q), significant(s * factor), q.Unit()})
		}
	}
	return out
}

// significant rounds to four digits: more would pretend.
func significant(v float64) float64 {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	p := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*p) / p
}

func (u understood) write(w io.Writer) error {
	fmt.Fprintf(w, "%s: the configuration is accepted.\n\nWhat 1 mL of each supplement does to 1 L of water\n", u.Site)
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, p := range u.Supplements {
		fmt.Fprintf(t, "  %s\t%s\n", p.Supplement, list(p.Strengths))
	}
	t.Flush()
	fmt.Fprintln(w, "\nThe most that each channel can do")
	t = tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "  CHANNEL\tVOLUME\tIN ONE RUN\tIN 24 h\tTHE WHOLE CONTAINER AT ONCE")
	for _, c := range u.Channels {
		fmt.Fprintf(t, "  %s\t%s\t%s\t%s\t%s\n", c.Channel, c.Volume, list(c.LargestRun), list(c.LargestDay), list(c.WholeContent))
	}
	t.Flush()
	fmt.Fprintln(w, "\nLines")
	t = tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, c := range u.Channels {
		run := "no nominal rate: the length of runs is known after calibration"
		if c.LongestRunS != nil {
			run = fmt.Sprintf("per_run takes %.1f s at the nominal rate", *c.LongestRunS)
		}
		fmt.Fprintf(t, "  %s\tholds %.1f mL\tprime about %.0f mL\t%s\n", c.Channel, c.LineML, c.PrimeML, run)
	}
	t.Flush()
	u.writeLists(w)
	return nil
}

func (u understood) writeLists(w io.Writer) {
	section := func(title string, lines []string) {
		if len(lines) == 0 {
			return
		}
		fmt.Fprintln(w, "\n"+title)
		for _, line := range lines {
			indent(w, "  ", line)
		}
	}
	var pairs, careful, never []string
	for _, n := range u.NeverMixed {
		never = append(never, fmt.Sprintf("%s and %s: %s", n.A, n.B, n.Why))
	}
	for _, p := range u.KeepApart {
		pairs = append(pairs, fmt.Sprintf("%s and %s, %g min: %s", p.A, p.B, p.Minutes, p.Why))
	}
	careful = cautionLines(u.Supplements)
	var ph, solved, late []string
	for _, c := range u.Channels {
		if c.PH == nil {
			continue
		}
		line := fmt.Sprintf("%s: per_run moves pH by %+.3f, all of per_day at once by %+.2f", c.Channel, c.PH.LargestRun, c.PH.LargestDay)
		if c.PH.PlannedML != nil {
			line += fmt.Sprintf("; planned runs are held to %.2f mL, a step of %.2f", *c.PH.PlannedML, seawater.DefaultStep)
		}
		ph = append(ph, line)
	}
	for _, p := range u.Supplements {
		if p.Dissolving != "" {
			solved = append(solved, p.Supplement+" "+p.Dissolving)
		}
		if p.LateShare > 0 {
			late = append(late, p.lateWords())
		}
	}
	section(fmt.Sprintf("pH right after a dose, from %.1f", float64(acidity.UsualPH)), ph)
	section("Alkalinity that appears late", late)
	section("Limewater", u.Limewater)
	section(fmt.Sprintf("Solutions at %d degC", roomC), solved)
	section("Calcium with alkalinity", u.Pairs)
	section("Salt left behind", u.Creep)
	section("Kept apart", pairs)
	section("Never in one container", never)
	section("Take care", careful)
	section("Not yet in effect", u.NotYet)
	section("Warnings", u.Warnings)
	fmt.Fprintf(w, "\nEvery run may be %d %% off, and counts as such in every limit.\n", int(safety.DefaultTolerance)/10)
}

func list(effects []effectView) string {
	s := ""
	for i, e := range effects {
		if i > 0 {
			s += ", "
		}
		s += fmt.Sprintf("%s %+g %s", e.Quantity, e.Value, e.Unit)
	}
	return s
}
