package main

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"aliquot/planner/assay"
	"aliquot/planner/seawater"
	"aliquot/planner/units"
)

type waterCommand struct {
	Alkalinity string `help:"As tested." placeholder:"8.3 dKH"`
	PH         string `name:"ph" help:"As measured." placeholder:"8.2"`
	PHScale    string `name:"ph-scale" help:"nbs: a hobby probe in NBS buffers; total: a probe or dye on the total scale." enum:"nbs,total" default:"nbs"`
	PCO2       string `name:"pco2" help:"Instead of pH: partial pressure of CO2, microatmospheres." placeholder:"420"`
	Calcium    string `help:"As tested; left out, in the ratio that seawater has." placeholder:"430 mg/L"`
	Air        string `help:"CO2 of the air with which water after a dose comes to rest, microatmospheres." default:"420"`
	Method     bool   `help:"Say by what methods and sources."`
	Format     string `help:"text or json." enum:"text,json" default:"text"`
	waterFlags
}

// waterView is what `water` shows.
type waterView struct {
	SalinityPSU  float64            `json:"salinity_psu"`
	TemperatureC float64            `json:"temperature_degc"`
	DensityKgM3  float64            `json:"density_kg_per_m3"`
	Conductivity float64            `json:"conductivity_ms_per_cm"`
	AtTwentyFive float64            `json:"conductivity_25_degc_ms_per_cm"`
	Gravity      map[string]float64 `json:"specific_gravity"`
	Carbonate    *carbonateView     `json:"carbonate"`
	Doses        []doseView         `json:"one_dkh_of"`
	UCUM         map[string]string  `json:"ucum"` // field -> code of its unit, for those units that have one
	Methods      []string           `json:"methods,omitempty"`
}

// waterUnits are the units of the fields as package units prints them.
var waterUnits = map[string]string{"temperature_degc": "degC", "density_kg_per_m3": "kg/m3", "conductivity_ms_per_cm": "mS/cm", "conductivity_25_degc_ms_per_cm": "mS/cm"}

var carbonateUnits = map[string]string{
	"carbonate.alkalinity_umol_per_kg": "umol/kg", "carbonate.dic_umol_per_kg": "umol/kg", "carbonate.co2_umol_per_kg": "umol/kg",
	"carbonate.bicarbonate_umol_per_kg": "umol/kg", "carbonate.carbonate_umol_per_kg": "umol/kg",
	"carbonate.ph_total": "pH", "carbonate.ph_nbs": "pH", "carbonate.ph_uncertainty": "pH",
	"one_dkh_of.ph_step_at_once": "pH", "one_dkh_of.ph_total_at_rest_with_air": "pH",
}

// codes adds the UCUM codes of these fields.
func (v *waterView) codes(fields map[string]string) {
	for field, unit := range fields {
		if code, ok := units.UCUM(unit); ok {
			v.UCUM[field] = code
		}
	}
}

type carbonateView struct {
	AlkalinityDKH  float64  `json:"alkalinity_dkh"`
	Alkalinity     float64  `json:"alkalinity_umol_per_kg"`
	PHTotal        float64  `json:"ph_total"`
	PHNBS          float64  `json:"ph_nbs"`
	PHUncertainty  *float64 `json:"ph_uncertainty"`
	DIC            float64  `json:"dic_umol_per_kg"`
	PCO2           float64  `json:"pco2_uatm"`
	CO2            float64  `json:"co2_umol_per_kg"`
	Bicarbonate    float64  `json:"bicarbonate_umol_per_kg"`
	CarbonateIon   float64  `json:"carbonate_umol_per_kg"`
	OmegaAragonite float64  `json:"omega_aragonite"`
	OmegaCalcite   float64  `json:"omega_calcite"`
}

// doseView is what one dKH at once, as a salt, does to pH.
type doseView struct {
	As         string  `json:"as"`
	StepAtOnce float64 `json:"ph_step_at_once"`
	PHAired    float64 `json:"ph_total_at_rest_with_air"`
	LargestDKH float64 `json:"largest_run_dkh"` // for the default pH step
}

func (c waterCommand) Run(std stream) error {
	w, err := c.water()
	if err != nil {
		return err
	}
	v, err := describeWater(w)
	if err != nil {
		return fail(exitFailed, "%w", err)
	}
	if c.Alkalinity != "" {
		if err := c.carbonate(&v, w); err != nil {
			return fail(exitFailed, "%w", err)
		}
	} else if c.PH != "" || c.PCO2 != "" {
		return fail(exitUsage, "pH or pCO2 alone do not tell the carbonate system: give --alkalinity too")
	}
	if c.Method {
		v.Methods = waterMethods(v)
	}
	if c.Format == "json" {
		return writeJSON(std.out, v)
	}
	return v.write(std.out)
}

func describeWater(w assay.Water) (waterView, error) {
	v := waterView{SalinityPSU: float64(w.Salinity), TemperatureC: float64(w.Temperature), Gravity: map[string]float64{}, Doses: []doseView{}, UCUM: map[string]string{}}
	v.codes(waterUnits)
	rho, err := seawater.DensityOf(w.Salinity, w.Temperature)
	if err != nil {
		return v, err
	}
	k, err := seawater.ConductivityOf(w.Salinity, w.Temperature, 0)
	if err != nil {
		return v, err
	}
	k25, err := seawater.ConductivityOf(w.Salinity, 25, 0)
	if err != nil {
		return v, err
	}
	v.DensityKgM3, v.Conductivity, v.AtTwentyFive = float64(rho), float64(k), float64(k25)
	for _, label := range gravityLabels {
		scale, _ := seawater.SGScaleNamed(label)
		if v.Gravity[label], err = seawater.SpecificGravity(w.Salinity, scale); err != nil {
			return v, err
		}
	}
	return v, nil
}

// gravityLabels are the scales of the trade's instruments, in the order shown.
var gravityLabels = []string{"25/25", "20/20", "60F/60F", "20/4"}

// carbonate solves the carbonate system from what was measured.
func (c waterCommand) carbonate(v *waterView, w assay.Water) error {
	water := seawater.Water{Salinity: w.Salinity, Temperature: w.Temperature}
	dkh, err := level(units.Alkalinity, c.Alkalinity, w)
	if err != nil {
		return fmt.Errorf("--alkalinity: %w", err)
	}
	if c.Calcium != "" {
		mgL, err := level(units.Calcium, c.Calcium, w)
		if err != nil {
			return fmt.Errorf("--calcium: %w", err)
		}
		perKg, _, err := assay.FromCanonical(units.Calcium, mgL, "umol/kg", w)
		if err != nil {
			return err
		}
		water.Calcium = seawater.MicromolPerKg(perKg)
	}
	alk, err := water.AlkalinityFromDKH(dkh)
	if err != nil {
		return err
	}
	system, err := seawater.NewSystem(water)
	if err != nil {
		return err
	}
	scales, err := water.PHScales()
	if err != nil {
		return err
	}
	solved, uncertainty, err := c.solve(system, scales, alk)
	if err != nil {
		return err
	}
	v.Carbonate = &carbonateView{AlkalinityDKH: dkh, Alkalinity: float64(alk), PHTotal: float64(solved.PH), PHNBS: float64(scales.NBS(solved.PH)),
		PHUncertainty: uncertainty, DIC: float64(solved.Carbon), PCO2: float64(solved.PCO2), CO2: float64(solved.CO2), Bicarbonate: float64(solved.HCO3),
		CarbonateIon: float64(solved.CO3), OmegaAragonite: solved.Aragonite, OmegaCalcite: solved.Calcite}
	v.codes(carbonateUnits)
	return c.doses(v, system, water, solved)
}

func (c waterCommand) solve(system seawater.System, scales seawater.PHScales, alk seawater.MicromolPerKg) (seawater.Carbonate, *float64, error) {
	if (c.PH == "") == (c.PCO2 == "") {
		return seawater.Carbonate{}, nil, fmt.Errorf("give either --ph or --pco2")
	}
	if c.PCO2 != "" {
		p, err := units.ParseNumber(c.PCO2)
		if err != nil {
			return seawater.Carbonate{}, nil, fmt.Errorf("--pco2: %w", err)
		}
		solved, err := system.AlkalinityPCO2(alk, seawater.Microatm(p))
		return solved, nil, err
	}
	read, err := units.ParseNumber(c.PH)
	if err != nil {
		return seawater.Carbonate{}, nil, fmt.Errorf("--ph: %w", err)
	}
	ph := seawater.TotalPH(read)
	var uncertainty *float64
	if c.PHScale == "nbs" {
		total, u := scales.FromNBS(seawater.NBSPH(read))
		ph, uncertainty = total, &u
	}
	solved, err := system.AlkalinityPH(alk, ph)
	return solved, uncertainty, err
}

func (c waterCommand) doses(v *waterView, system seawater.System, water seawater.Water, before seawater.Carbonate) error {
	air, err := units.ParseNumber(c.Air)
	if err != nil {
		return fmt.Errorf("--air: %w", err)
	}
	one, err := water.AlkalinityFromDKH(1)
	if err != nil {
		return err
	}
	for _, s := range []struct {
		name string
		salt seawater.Salt
	}{{"hydroxide", seawater.Hydroxide}, {"carbonate", seawater.Carbonates}, {"bicarbonate", seawater.Bicarbonate}} {
		step, err := system.Step(before, one, s.salt)
		if err != nil {
			return err
		}
		rest, err := system.Aired(before, one, seawater.Microatm(air))
		if err != nil {
			return err
		}
		largest, _, err := system.LargestRiseDKH(before, s.salt, seawater.DefaultStep)
		if err != nil {
			return err
		}
		v.Doses = append(v.Doses, doseView{As: s.name, StepAtOnce: step, PHAired: float64(rest.PH), LargestDKH: largest})
	}
	return nil
}

// level reads a measure of a quantity, in any unit that this water allows.
func level(q units.Quantity, text string, w assay.Water) (float64, error) {
	v, unit, err := units.ParseSplit(text)
	if err != nil {
		return 0, err
	}
	canonical, _, err := assay.ToCanonical(q, v, unit, w)
	return canonical, err
}

func (v waterView) write(out io.Writer) error {
	t := tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
	line := func(name, format string, args ...any) {
		fmt.Fprintf(t, "%s\t"+format+"\n", append([]any{name}, args...)...)
	}
	line("salinity", "%.3f psu", v.SalinityPSU)
	line("temperature", "%.2f degC", v.TemperatureC)
	line("density", "%.3f kg/m3", v.DensityKgM3)
	line("conductivity", "%.3f mS/cm (%.3f at 25 degC)", v.Conductivity, v.AtTwentyFive)
	for _, label := range gravityLabels {
		line("SG "+label, "%.5f", v.Gravity[label])
	}
	if k := v.Carbonate; k != nil {
		line("alkalinity", "%.3f dKH, %.1f umol/kg", k.AlkalinityDKH, k.Alkalinity)
		sure := ""
		if k.PHUncertainty != nil {
			sure = fmt.Sprintf(", at best ± %.2f", *k.PHUncertainty)
		}
		line("pH", "%.3f total scale, %.3f NBS%s", k.PHTotal, k.PHNBS, sure)
		line("dissolved inorganic carbon", "%.1f umol/kg", k.DIC)
		line("CO2", "%.0f uatm, %.1f umol/kg", k.PCO2, k.CO2)
		line("bicarbonate, carbonate", "%.1f, %.1f umol/kg", k.Bicarbonate, k.CarbonateIon)
		line("saturation", "aragonite %.2f, calcite %.2f%s", k.OmegaAragonite, k.OmegaCalcite, saturationWord(k.OmegaAragonite))
	}
	t.Flush()
	if len(v.Doses) > 0 {
		fmt.Fprintln(out, "\n1 dKH at once, as")
		t = tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
		for _, d := range v.Doses {
			fmt.Fprintf(t, "  %s\tpH %+.3f at once\t%.3f at rest with the air\ta step of %.2f comes with %s\n", d.As, d.StepAtOnce, d.PHAired, seawater.DefaultStep, largestText(d.LargestDKH))
		}
		t.Flush()
	}
	for _, m := range v.Methods {
		fmt.Fprintln(out, "method:", m)
	}
	return nil
}

func largestText(dkh float64) string {
	if math.IsInf(dkh, 0) || dkh > 20 {
		return "no dose"
	}
	return fmt.Sprintf("%.2f dKH", dkh)
}

// saturationWord warns where aragonite falls out (common practice).
func saturationWord(omega float64) string {
	switch {
	case omega > 8:
		return ": it may precipitate; dose less at once"
	case omega > 7:
		return ": high"
	case omega < 1:
		return ": skeletons dissolve"
	}
	return ""
}

func waterMethods(v waterView) []string {
	out := []string{"salinity and conductivity: PSS-78, Fofonoff & Millard 1983 (UNESCO 44)", "density and specific gravity: EOS-80 at one atmosphere, Millero & Poisson 1981"}
	if v.Carbonate == nil {
		return out
	}
	return append(out,
		"carbonate system, total scale: Dickson, Sabine & Christian 2007; K1, K2 Lueker et al. 2000; KSO4, KB Dickson 1990; KF Perez & Fraga 1987; boron Uppström 1974; Ksp Mucci 1983; K0 and fugacity Weiss 1974",
		"NBS scale: activity coefficient of Takahashi et al. 1982; a hobby probe is 0.05 off at best (common practice)")
}
