package trial

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// Plan says which trials are played.
type Plan struct {
	Families []Family
	Policies []string // by name, see Policies
	Seeds    int
	From     uint64 // first seed
	Options  Options
}

// Policies gives the names that NewPolicy knows, in a fixed order.
func Policies() []string { return []string{"never", "hand7", "hand3", "ours", "learnable", "informed"} }

// NewPolicy makes a policy by its name.
func NewPolicy(name string) (Policy, error) {
	switch name {
	case "never":
		return Never(), nil
	case "hand7":
		return HandWeekly(), nil
	case "hand3":
		return Hand3(), nil
	case "ours":
		return &Ours{}, nil
	case "learnable":
		return &Learnable{}, nil
	case "informed":
		return &Informed{}, nil
	}
	return nil, fmt.Errorf("no policy %q; there are %s", name, strings.Join(Policies(), ", "))
}

// Row is what one policy did in all trials of one family, in the order of the seeds.
type Row struct {
	Family Family
	Policy string
	Scores []Score
}

// Play plays all trials of a plan.
func Play(p Plan) ([]Row, error) {
	var out []Row
	for _, f := range p.Families {
		for _, name := range p.Policies {
			policy, err := NewPolicy(name)
			if err != nil {
				return nil, err
			}
			row := Row{Family: f, Policy: name}
			for i := range p.Seeds {
				row.Scores = append(row.Scores, Run(f, p.From+uint64(i), p.Options, policy))
			}
			out = append(out, row)
		}
	}
	return out, nil
}

// Overall joins the rows of each policy over the families.
func Overall(rows []Row) []Row {
	var out []Row
	for _, r := range rows {
		i := slices.IndexFunc(out, func(o Row) bool { return o.Policy == r.Policy })
		if i < 0 {
			i = len(out)
			out = append(out, Row{Family: "all", Policy: r.Policy})
		}
		out[i].Scores = append(out[i].Scores, r.Scores...)
	}
	return out
}

// InOrder sorts rows by family, then by policy, each in their fixed order.
func InOrder(rows []Row) []Row {
	out := slices.Clone(rows)
	slices.SortStableFunc(out, func(a, b Row) int {
		return cmp.Or(cmp.Compare(slices.Index(Families(), a.Family), slices.Index(Families(), b.Family)),
			cmp.Compare(slices.Index(Policies(), a.Policy), slices.Index(Policies(), b.Policy)))
	})
	return out
}

// Median of one figure over the trials of a row.
func (r Row) Median(of func(Score) float64) float64 {
	v := r.values(of)
	slices.Sort(v)
	return quantile(v, 0.5)
}

// Mean of one figure over the trials of a row.
func (r Row) Mean(of func(Score) float64) float64 {
	sum, v := 0.0, r.values(of)
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// Most is the largest of one figure over the trials of a row.
func (r Row) Most(of func(Score) float64) float64 { return slices.Max(r.values(of)) }

func (r Row) values(of func(Score) float64) []float64 {
	out := make([]float64, len(r.Scores))
	for i, s := range r.Scores {
		out[i] = of(s)
	}
	return out
}

// RMS, and LateRMS, are what rows are compared by.
func RMS(s Score) float64     { return s.All.RMS }
func LateRMS(s Score) float64 { return s.Late.RMS }

func swing(s Score) float64 { return s.All.Swing }

func atCap(s Score) float64 { return float64(s.AtCap) }

// figures are the columns of a table from RMS to 95 % d14+.
func (r Row) figures() []float64 {
	return []float64{r.Median(RMS), r.Mean(RMS), r.Median(func(s Score) float64 { return s.All.Q95 }),
		r.Median(func(s Score) float64 { return s.All.Worst }), r.Median(swing), r.Most(swing),
		r.Median(LateRMS), r.Median(func(s Score) float64 { return s.Late.Q95 })}
}

// coverage are the mean shares of hours with the truth inside the interval: level, use and need.
func (r Row) coverage() []float64 {
	return []float64{r.Mean(func(s Score) float64 { return s.Coverage.Level }), r.Mean(func(s Score) float64 { return s.Coverage.Use }),
		r.Mean(func(s Score) float64 { return s.Coverage.Need })}
}

// Write prints rows as a table: medians over the seeds, the mean of the RMS beside its median, shares in percent.
// The last columns are the ratios of the median RMS to those of hand3 and of the learnable limit.
func Write(out io.Writer, rows []Row) error {
	var b strings.Builder
	b.WriteString("| family | policy | trials | RMS | mean RMS | 95 % | worst | swing | largest swing | RMS d14+ | 95 % d14+ | at cap | level | use | need | / hand3 | / learnable |\n")
	b.WriteString("| --- | --- | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n")
	for _, r := range rows {
		if len(r.Scores) == 0 {
			continue
		}
		fmt.Fprintf(&b, "| %s | %s | %d |", r.Family, r.Policy, len(r.Scores))
		for _, v := range r.figures() {
			b.WriteString(" " + cell(v, 3) + " |")
		}
		fmt.Fprintf(&b, " %.1f |", r.Mean(atCap))
		for _, v := range r.coverage() {
			b.WriteString(" " + cell(100*v, 0) + " |")
		}
		b.WriteString(" " + cell(ratio(rows, r, "hand3"), 2) + " | " + cell(ratio(rows, r, "learnable"), 2) + " |\n")
	}
	_, err := io.WriteString(out, b.String())
	return err
}

func cell(v float64, decimals int) string {
	if math.IsNaN(v) {
		return "–"
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

// ratio of a row's median RMS to that of another policy in the same family; NaN if there is none.
func ratio(rows []Row, r Row, policy string) float64 {
	for _, o := range rows {
		if o.Family == r.Family && o.Policy == policy {
			return r.Median(RMS) / o.Median(RMS)
		}
	}
	return math.NaN()
}
