package metering

import (
	"flag"
	"fmt"
	"math"
	"testing"

	"aliquot/planner/checktable"
)

var update = flag.Bool("update", false, "rewrite testdata/checks.csv")

// TestPublishedChecks runs every comparison and holds testdata/checks.csv up to date: go test -update.
func TestPublishedChecks(t *testing.T) {
	var all []*checktable.Check
	for _, run := range publishedChecks {
		all = append(all, run(t)...)
	}
	checktable.Hold(t, "testdata", *update, all)
}

var publishedChecks = []func(*testing.T) []*checktable.Check{checkWater, checkZ, checkNorris, checkStudent}

func checkWater(t *testing.T) []*checktable.Check {
	table := &checktable.Check{Name: "pure water table", Unit: "kg/m3", Source: "Tanaka et al. 2001, Metrologia 38:301-309, recommended table", Tolerance: 1e-4}
	iapws := &checktable.Check{Name: "pure water against IAPWS-95 (another equation)", Unit: "kg/m3", Source: "IAPWS-95; known to differ by 0.0012 over 0..40 degC", Tolerance: 2e-3}
	for _, row := range readRefs(t, "water_density.csv") {
		got, err := WaterDensity(number(t, row["temp_its90_c"]))
		if err != nil {
			t.Fatal(err)
		}
		table.Add(t, row["temp_its90_c"]+" degC", got*1000-number(t, row["density_tanaka_table_kg_m3"]))
		iapws.Add(t, row["temp_its90_c"]+" degC", got*1000-number(t, row["density_iapws95_kg_m3"]))
	}
	return []*checktable.Check{table, iapws}
}

func checkZ(t *testing.T) []*checktable.Check {
	printed := &checktable.Check{Name: "Z factor as printed", Unit: "uL/mg", Source: "ISO 8655-6:2002, ISO/TR 20461:2000, printed to 4 decimals", Tolerance: 6e-5}
	computed := &checktable.Check{Name: "Z factor with another air and water formula", Unit: "uL/mg", Source: "ISO/TR 20461:2000 formulas for water and air, 50 % humidity", Tolerance: 1e-5}
	for _, row := range readRefs(t, "z_factor.csv") {
		a := Air{number(t, row["temp_c"]), number(t, row["pressure_hpa"]), 0.5}
		got, err := ZFactor(a)
		if err != nil {
			t.Fatal(err)
		}
		what := fmt.Sprintf("%g degC, %g hPa", a.Celsius, a.HectoPascal)
		printed.Add(t, what, got-number(t, row["z_ul_per_mg"]))
		computed.Add(t, what, got-number(t, row["z_computed"]))
	}
	return []*checktable.Check{printed, computed}
}

func checkNorris(t *testing.T) []*checktable.Check {
	c := &checktable.Check{Name: "linear regression of the Norris data", Unit: "relative", Source: "NIST StRD linear regression, Norris: certified values", Tolerance: 1e-11}
	var x, y []float64
	for _, row := range readRefs(t, "nist_norris.csv") {
		x, y = append(x, number(t, row["x"])), append(y, number(t, row["y"]))
	}
	f, err := FitLine(x, y)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]float64{"B0": f.Intercept, "B1": f.Slope, "sd_B0": f.InterceptSE, "sd_B1": f.SlopeSE, "residual_sd": f.ResidualSD,
		"r_squared": f.R2, "regression_ss": f.RegressionSS, "residual_ss": f.ResidualSS, "residual_ms": f.ResidualSS / float64(f.DegreesOfFreedom()),
		"f_statistic": f.FStatistic()}
	for _, row := range readRefs(t, "nist_norris_certified.csv") {
		v, ok := got[row["quantity"]]
		if !ok {
			t.Fatalf("no figure for %s", row["quantity"])
		}
		c.Add(t, row["quantity"], v/number(t, row["certified_value"])-1)
	}
	return []*checktable.Check{c}
}

// Upper quantiles of Student's t: R. A. Fisher 1925, Statistical Methods for Research Workers, table IV; the same
// figures in NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2.
var studentTable = []struct {
	df   float64
	want [5]float64 // for 0.90, 0.95, 0.975, 0.99, 0.995
}{
	{1, [5]float64{3.078, 6.314, 12.706, 31.821, 63.657}}, {2, [5]float64{1.886, 2.920, 4.303, 6.965, 9.925}},
	{3, [5]float64{1.638, 2.353, 3.182, 4.541, 5.841}}, {4, [5]float64{1.533, 2.132, 2.776, 3.747, 4.604}},
	{5, [5]float64{1.476, 2.015, 2.571, 3.365, 4.032}}, {6, [5]float64{1.440, 1.943, 2.447, 3.143, 3.707}},
	{7, [5]float64{1.415, 1.895, 2.365, 2.998, 3.499}}, {8, [5]float64{1.397, 1.860, 2.306, 2.896, 3.355}},
	{9, [5]float64{1.383, 1.833, 2.262, 2.821, 3.250}}, {10, [5]float64{1.372, 1.812, 2.228, 2.764, 3.169}},
	{12, [5]float64{1.356, 1.782, 2.179, 2.681, 3.055}}, {15, [5]float64{1.341, 1.753, 2.131, 2.602, 2.947}},
	{20, [5]float64{1.325, 1.725, 2.086, 2.528, 2.845}}, {25, [5]float64{1.316, 1.708, 2.060, 2.485, 2.787}},
	{30, [5]float64{1.310, 1.697, 2.042, 2.457, 2.750}}, {40, [5]float64{1.303, 1.684, 2.021, 2.423, 2.704}},
	{60, [5]float64{1.296, 1.671, 2.000, 2.390, 2.660}}, {100, [5]float64{1.290, 1.660, 1.984, 2.364, 2.626}},
	{1e6, [5]float64{1.282, 1.645, 1.960, 2.326, 2.576}}, // printed for infinity
}

func checkStudent(t *testing.T) []*checktable.Check {
	c := &checktable.Check{Name: "Student t quantiles printed to 3 decimals", Unit: "1", Source: "R. A. Fisher 1925, table IV; NIST/SEMATECH e-Handbook 1.3.6.7.2", Tolerance: 5.01e-4}
	exact := &checktable.Check{Name: "Student t quantiles for 1, 2 and 4 degrees of freedom", Unit: "relative", Source: "W. T. Shaw 2006, J. Comput. Finance 9(4):37-73: closed forms, cancelling near the median", Tolerance: 1e-10}
	for _, row := range studentTable {
		for i, p := range []float64{0.90, 0.95, 0.975, 0.99, 0.995} {
			got, err := StudentQuantile(p, row.df)
			if err != nil {
				t.Fatal(err)
			}
			c.Add(t, fmt.Sprintf("p %g, df %g: %v", p, row.df, got), got-row.want[i])
		}
	}
	for _, p := range []float64{0.501, 0.6, 0.75, 0.9, 0.975, 0.999, 0.99999} {
		a := 4 * p * (1 - p)
		four := 2 * math.Sqrt(math.Cos(math.Acos(math.Sqrt(a))/3)/math.Sqrt(a)-1)
		for df, want := range map[float64]float64{1: math.Tan(math.Pi * (p - 0.5)), 2: (2*p - 1) * math.Sqrt(2/a), 4: four} {
			got, err := StudentQuantile(p, df)
			if err != nil {
				t.Fatal(err)
			}
			exact.Add(t, fmt.Sprintf("p %g, df %g", p, df), got/want-1)
		}
	}
	return []*checktable.Check{c, exact}
}
