package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"aliquot/planner/assay"
	"aliquot/planner/seawater"
	"aliquot/planner/units"
)

// waterFlags describe the water that a conversion may rest on.
type waterFlags struct {
	Salinity    string `help:"Of the water: psu, mS/cm or SG with its temperatures." default:"35 psu" placeholder:"35 psu"`
	Temperature string `help:"Of the water." default:"25 degC" placeholder:"25 degC"`
}

func (f waterFlags) water() (assay.Water, error) {
	t, err := units.ParseTemperature(f.Temperature)
	if err != nil {
		return assay.Water{}, fail(exitUsage, "--temperature: %w", err)
	}
	w := assay.Water{Salinity: 35, Temperature: seawater.Celsius(t)}
	v, unit, err := units.ParseSplit(f.Salinity)
	if err != nil {
		return assay.Water{}, fail(exitUsage, "--salinity: %w", err)
	}
	s, _, err := assay.ToCanonical(units.Salinity, v, unit, w)
	if err != nil {
		return assay.Water{}, fail(exitUsage, "--salinity: %w", err)
	}
	w.Salinity = seawater.PSU(s)
	return w, nil
}

type convertCommand struct {
	Quantity string   `arg:"" help:"alkalinity, calcium, salinity, temperature …"`
	Value    string   `arg:"" help:"The number, with a point."`
	Unit     []string `arg:"" help:"Its unit: dKH, ppm CaCO3, mg/L, SG 25/25, mS/cm …"`
	To       string   `help:"Only into this unit; left out, into all."`
	Method   bool     `help:"Say by what method and source."`
	Format   string   `help:"text or json." enum:"text,json" default:"text"`
	waterFlags
}

// converted is one line of the answer.
type converted struct {
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	UCUM   string  `json:"ucum,omitempty"`
	Method string  `json:"method,omitempty"`
}

func (c convertCommand) Run(std stream) error {
	q := quantityNamed(c.Quantity)
	if !q.Known() || len(assay.Names(q)) == 0 {
		return fail(exitUsage, "%q is no quantity with units; there are: %s", c.Quantity, quantityList())
	}
	value, err := units.ParseNumber(c.Value)
	if err != nil {
		return fail(exitUsage, "%w", err)
	}
	w, err := c.water()
	if err != nil {
		return err
	}
	unit := strings.Join(c.Unit, " ")
	canonical, by, err := assay.ToCanonical(q, value, unit, w)
	if err != nil {
		return fail(exitFailed, "%w", err)
	}
	out, err := c.all(q, canonical, by, w)
	if err != nil {
		return err
	}
	if c.Format == "json" {
		return writeJSON(std.out, out)
	}
	return c.write(std.out, out, q, canonical)
}

func (c convertCommand) all(q units.Quantity, canonical float64, by string, w assay.Water) ([]converted, error) {
	names := assay.Names(q)
	if c.To != "" {
		names = []string{c.To}
	}
	var out []converted
	for _, name := range names {
		v, method, err := assay.FromCanonical(q, canonical, name, w)
		if err != nil {
			if c.To != "" {
				return nil, fail(exitFailed, "%w", err)
			}
			continue // this unit cannot show such a level; the others can
		}
		code, _ := units.UCUM(name)
		out = append(out, converted{Value: v, Unit: name, UCUM: code, Method: methods(by, method, c.Method)})
	}
	return out, nil
}

// methods names what a conversion rests on, if that is asked for.
func methods(in, out string, asked bool) string {
	switch {
	case !asked:
		return ""
	case in == "" && out == "":
		return "factors from CIAAW 2021 atomic weights and exact definitions"
	case in == "" || in == out:
		return out
	case out == "":
		return in
	}
	return in + "; " + out
}

func (c convertCommand) write(w io.Writer, out []converted, q units.Quantity, canonical float64) error {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, o := range out {
		fmt.Fprintf(t, "%s\t%s\t%s\n", significantText(o.Value), o.Unit, o.Method)
	}
	t.Flush()
	if _, verdict, hint := units.CheckEntry(q, canonical, q.Unit()); verdict != units.Accepted && hint != nil {
		fmt.Fprintln(w, "note:", hint)
	}
	return nil
}

// significantText prints six significant digits, and all that an integer has.
func significantText(v float64) string { return fmt.Sprintf("%.6g", v) }

func quantityNamed(text string) units.Quantity {
	for _, q := range units.Quantities() {
		if strings.EqualFold(string(q), text) {
			return q
		}
	}
	return units.Quantity(text)
}

func quantityList() string {
	var names []string
	for _, q := range units.Quantities() {
		if len(assay.Names(q)) > 0 {
			names = append(names, string(q))
		}
	}
	return strings.Join(names, ", ")
}
