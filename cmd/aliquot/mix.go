package main

import (
	"fmt"
	"io"
	"strings"

	"aliquot/planner/stock"
	"aliquot/planner/units"
)

type mixCommand struct {
	Salts    []string `arg:"" help:"Forward: each salt with its amount, 'sodium carbonate=80 g/L'. Backward: one salt by name or formula."`
	For      string   `help:"Backward: the quantity that the salt is for." placeholder:"alkalinity"`
	Strength string   `help:"Backward: what 1 mL must do to 1 L of water." placeholder:"4 dKH"`
	Rise     string   `help:"Backward: what a day's dose must do to the system; with --in and --system." placeholder:"1 dKH/day"`
	In       string   `help:"The day's dose." placeholder:"60 mL/day"`
	System   string   `help:"The system's net volume." placeholder:"340 L"`
	Purity   float64  `help:"Of the salt, percent." default:"100"`
	Batch    string   `help:"How much solution to make." default:"1 L"`
	Room     string   `help:"Temperature where it stands." default:"20 degC"`
	Format   string   `help:"text or json." enum:"text,json" default:"text"`
}

// mixView is what `mix` shows.
type mixView struct {
	BatchL     float64      `json:"batch_l"`
	Weigh      []weighView  `json:"weigh"`
	Strength   []effectView `json:"rise_by_1_ml_in_1_l"`
	InSystem   []effectView `json:"rise_by_1_ml_in_the_system,omitempty"`
	Dissolving string       `json:"dissolving"`
	Steps      string       `json:"dissolving_steps"`
	Appears    string       `json:"appears_over,omitempty"`
	Cautions   []string     `json:"cautions"`
	Notes      []string     `json:"notes"`
}

type weighView struct {
	Salt  string  `json:"salt"`
	Grams float64 `json:"grams"`
	PerL  float64 `json:"grams_per_l"`
}

func (m mixCommand) Run(std stream) error {
	parts, err := m.parts()
	if err != nil {
		return err
	}
	batch, err := units.ParseVolume(m.Batch)
	if err != nil {
		return fail(exitUsage, "--batch: %w", err)
	}
	room, err := units.ParseTemperature(m.Room)
	if err != nil {
		return fail(exitUsage, "--room: %w", err)
	}
	recipe, err := stock.RecipeOf(parts, batch/1000, room)
	if err != nil {
		return fail(exitFailed, "%w", err)
	}
	v := m.view(recipe)
	if m.System != "" {
		ml, err := units.ParseVolume(m.System)
		if err != nil {
			return fail(exitUsage, "--system: %w", err)
		}
		v.InSystem = effects(recipe.Strength, 1000/ml)
	}
	if m.Format == "json" {
		return writeJSON(std.out, v)
	}
	return v.write(std.out)
}

// parts reads the recipe, or works it out from what is wanted.
func (m mixCommand) parts() ([]stock.Part, error) {
	purity := m.Purity / 100
	if m.Strength != "" || m.Rise != "" {
		grams, err := m.backward(purity)
		if err != nil {
			return nil, err
		}
		return []stock.Part{{Salt: m.Salts[0], GramsPerLitre: grams, Purity: purity}}, nil
	}
	var parts []stock.Part
	for _, text := range m.Salts {
		name, amount, ok := strings.Cut(text, "=")
		if !ok {
			return nil, fail(exitUsage, "%q does not say how much: 'sodium carbonate=80 g/L'; or say --for and --strength, or --for, --rise, --in and --system", text)
		}
		grams, err := units.ParseSaltConcentration(amount)
		if err != nil {
			return nil, fail(exitUsage, "%s: %w", name, err)
		}
		parts = append(parts, stock.Part{Salt: strings.TrimSpace(name), GramsPerLitre: grams, Purity: purity})
	}
	return parts, nil
}

// backward gives the grams for a litre that do what is wanted.
func (m mixCommand) backward(purity float64) (float64, error) {
	q := quantityNamed(m.For)
	switch {
	case len(m.Salts) != 1:
		return 0, fail(exitUsage, "backward takes one salt")
	case !q.Known():
		return 0, fail(exitUsage, "--for %q is no quantity; there are: %s", m.For, quantityList())
	case m.Strength != "":
		strength, err := units.ParseLevel(q, m.Strength)
		if err != nil {
			return 0, fail(exitUsage, "--strength: %w", err)
		}
		grams, err := stock.GramsPerLitreFor(m.Salts[0], purity, q, strength)
		return grams, asFailed(err)
	case m.In == "" || m.System == "":
		return 0, fail(exitUsage, "--rise needs --in (the day's dose) and --system (its net volume)")
	}
	rise, err := units.ParseLevelPerDay(q, m.Rise)
	if err != nil {
		return 0, fail(exitUsage, "--rise: %w", err)
	}
	dose, err := units.ParseVolumePerDay(m.In)
	if err != nil {
		return 0, fail(exitUsage, "--in: %w", err)
	}
	ml, err := units.ParseVolume(m.System)
	if err != nil {
		return 0, fail(exitUsage, "--system: %w", err)
	}
	grams, err := stock.GramsPerLitreForRise(m.Salts[0], purity, q, rise, dose, ml/1000)
	return grams, asFailed(err)
}

func asFailed(err error) error {
	if err == nil {
		return nil
	}
	return fail(exitFailed, "%w", err)
}

func (m mixCommand) view(r stock.Recipe) mixView {
	v := mixView{BatchL: r.Litres, Strength: effects(r.Strength, 1), Dissolving: r.Dissolving.Verdict.String(), Steps: r.Dissolving.Worst().Steps,
		Cautions: append([]string{}, r.Cautions...), Notes: append([]string{}, r.Notes...)}
	for i, p := range r.Solution {
		v.Weigh = append(v.Weigh, weighView{Salt: p.Salt, Grams: significant(r.Grams[i]), PerL: significant(p.GramsPerLitre)})
	}
	if r.AppearsOver > 0 {
		v.Appears = r.AppearsOver.String()
	}
	return v
}

func (v mixView) write(w io.Writer) error {
	fmt.Fprintf(w, "For %g L of solution weigh\n", v.BatchL)
	for _, s := range v.Weigh {
		fmt.Fprintf(w, "  %g g of %s (%g g/L)\n", s.Grams, s.Salt, s.PerL)
	}
	fmt.Fprintf(w, "1 mL in 1 L of water: %s\n", list(v.Strength))
	if len(v.InSystem) > 0 {
		fmt.Fprintf(w, "1 mL in the system: %s\n", list(v.InSystem))
	}
	fmt.Fprintf(w, "It %s: %s\n", dissolvingWords(v.Dissolving), v.Steps)
	if v.Appears != "" {
		fmt.Fprintf(w, "The effect appears over %s.\n", v.Appears)
	}
	for _, c := range v.Cautions {
		indent(w, "take care: ", c)
	}
	for _, n := range v.Notes {
		indent(w, "note: ", n)
	}
	return nil
}

func dissolvingWords(verdict string) string {
	switch verdict {
	case stock.DissolvingUnknown.String():
		return "may or may not dissolve, no handbook value is known"
	case stock.NearlySaturated.String():
		return "is nearly saturated"
	}
	return verdict
}
