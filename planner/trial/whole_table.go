package trial

import (
	"fmt"
	"io"
	"strings"

	"aliquot/planner/units"
)

// WholeRow is what one policy did with one quantity in all trials of whole tanks, all families together.
type WholeRow struct {
	Quantity units.Quantity
	Row
}

// PlayWhole plays whole tanks; the policies of p are those of NewWhole.
func PlayWhole(p Plan) ([]WholeRow, error) {
	out := make([]WholeRow, len(Quantities)*len(p.Policies))
	for i, name := range p.Policies {
		policy, err := NewWhole(name)
		if err != nil {
			return nil, err
		}
		for q := range Quantities {
			out[q*len(p.Policies)+i] = WholeRow{Quantities[q], Row{Family: "all", Policy: name}}
		}
		for _, f := range p.Families {
			for n := range p.Seeds {
				for q, s := range RunWhole(f, p.From+uint64(n), p.Options, policy) {
					r := &out[q*len(p.Policies)+i]
					r.Scores = append(r.Scores, s)
				}
			}
		}
	}
	return out, nil
}

// WriteWhole prints rows as a table, as Write does; levels and uses are in the unit of the quantity.
func WriteWhole(out io.Writer, rows []WholeRow) error {
	var b strings.Builder
	b.WriteString("| quantity | policy | trials | RMS | mean RMS | 95 % | worst | swing | largest swing | RMS d14+ | 95 % d14+ | at cap | level | use | need |\n")
	b.WriteString("| --- | --- | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n")
	for _, r := range rows {
		decimals := 1
		if r.Quantity == units.Alkalinity {
			decimals = 3
		}
		fmt.Fprintf(&b, "| %s, %s | %s | %d |", r.Quantity, r.Quantity.Unit(), r.Policy, len(r.Scores))
		for _, v := range r.figures() {
			b.WriteString(" " + cell(v, decimals) + " |")
		}
		fmt.Fprintf(&b, " %.1f |", r.Mean(atCap))
		for _, v := range r.coverage() {
			b.WriteString(" " + cell(100*v, 0) + " |")
		}
		b.WriteString("\n")
	}
	_, err := io.WriteString(out, b.String())
	return err
}
