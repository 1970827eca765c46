package main

import (
	"slices"
	"strings"
	"testing"

	"aliquot/config"
	"aliquot/planner"
	"aliquot/planner/stock"
	"aliquot/planner/units"
	"aliquot/safety"
)

func recipe(id string, salts ...config.Salt) config.Supplement {
	p := config.Supplement{ID: id, Solution: salts}
	p.Classes = stock.Classes(p.Parts())
	return p
}

func TestNeverMixed(t *testing.T) {
	list := []config.Supplement{
		recipe("soda", config.Salt{Name: "sodium carbonate", GPerL: 80}),
		recipe("brine", config.Salt{Name: "calcium chloride dihydrate", GPerL: 110}),
		recipe("potash", config.Salt{Name: "potassium chloride", GPerL: 10}),
		recipe("lye", config.Salt{Name: "sodium hydroxide", GPerL: 40}),
	}
	var got []string
	for _, n := range neverMixed(list) {
		if n.Why == "" {
			t.Errorf("%s and %s without a reason", n.A, n.B)
		}
		got = append(got, n.A+" "+n.B)
	}
	if want := []string{"soda brine", "brine lye"}; !slices.Equal(got, want) {
		t.Errorf("never mixed %q; want %q", got, want)
	}
	if got := neverMixed(nil); got == nil || len(got) != 0 {
		t.Errorf("of nothing %v; want an empty list", got)
	}
}

// `check` warns of what `mix` warns of for the same salts.
func TestCautionsAreThoseOfMix(t *testing.T) {
	for _, c := range []struct {
		name string
		p    config.Supplement
		says string // empty: nothing
	}{
		{"caustic", recipe("lye", config.Salt{Name: "sodium hydroxide", GPerL: 40}), "sodium hydroxide: "},
		{"heats", recipe("brine", config.Salt{Name: "calcium chloride dihydrate", GPerL: 110}), "heats strongly"},
		{"any recipe", recipe("potash", config.Salt{Name: "potassium chloride", GPerL: 10}), "label the container"},
		{"what mix refuses keeps the salt's own", recipe("too much", config.Salt{Name: "sodium carbonate", GPerL: 900}), "goggles"},
		{"a claim", config.Supplement{ID: "label"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := cautions(c.p)
			if got == nil || c.says == "" && len(got) > 0 || !strings.Contains(strings.Join(got, "\n"), c.says) {
				t.Errorf("cautions %q; want one with %q", got, c.says)
			}
		})
	}
}

// A two-part pair is compared with what calcification takes, 7.15 mg/L of calcium with each dKH.
func TestCalciumWithAlkalinity(t *testing.T) {
	follow := func(id string, q units.Quantity, base float64) config.Channel {
		ch := config.Channel{ID: id, System: "reef", Container: id, Mode: planner.Follow, Follow: q}
		if base > 0 {
			b := safety.Microlitres(base * 1000)
			ch.Base = &b
		}
		return ch
	}
	share := func(ratio float64) config.Channel {
		return config.Channel{ID: "ca", System: "reef", Container: "ca", Mode: planner.Share, ShareOf: "alk", ShareRatio: ratio}
	}
	fixed := func(id string, ml float64) config.Channel {
		return config.Channel{ID: id, System: "reef", Container: id, Mode: planner.Fixed, FixedPerDay: ml}
	}
	strength := map[string]map[units.Quantity]float64{
		"alk": {units.Alkalinity: 4}, "ca": {units.Calcium: 40}, "limewater": {units.Alkalinity: .1, units.Calcium: .715}}
	alk, ca := units.Alkalinity, units.Calcium
	for _, c := range []struct {
		name     string
		channels []config.Channel
		want     string // empty: no line
	}{
		{"bases too rich in calcium", []config.Channel{follow("alk", alk, 25), follow("ca", ca, 25)}, "bring 1 dKH and 10 mg/L of calcium, 10.00 mg/L with each dKH; calcification takes 7.15 mg/L with each dKH, so that calcium would rise by 2.9 mg/L a day"},
		{"bases too poor", []config.Channel{follow("alk", alk, 25), follow("ca", ca, 10)}, "would fall by 3.1 mg/L a day"},
		{"balanced", []config.Channel{follow("alk", alk, 25), share(.7147)}, "with each dKH"},
		{"one source for both", []config.Channel{fixed("limewater", 1000)}, "bring 1 dKH and 7.15 mg/L"},
		{"without bases", []config.Channel{follow("alk", alk, 0), follow("ca", ca, 0)}, "1 dKH is 25 mL from alk; calcification takes 7.15 mg/L with each dKH, 17.9 mL from ca"},
		{"one base only", []config.Channel{follow("alk", alk, 25), follow("ca", ca, 0)}, "1 dKH is 25 mL from alk"},
		{"a share without a base", []config.Channel{follow("alk", alk, 0), share(1)}, "each dKH from alk comes with 10.00 mg/L of calcium"},
		{"alkalinity alone", []config.Channel{follow("alk", alk, 25)}, ""},
		{"calcium alone", []config.Channel{follow("ca", ca, 25)}, ""},
		{"another system", []config.Channel{{ID: "alk", System: "pond", Container: "alk", Mode: planner.Fixed, FixedPerDay: 5}}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := loaded{Site: &config.Site{Systems: []config.System{{ID: "reef", NetLitres: 100}}, Channels: c.channels}}
			got := pairLines(l, func(ch config.Channel) map[units.Quantity]float64 { return strength[ch.Container] })
			if c.want == "" && len(got) > 0 || c.want != "" && !(len(got) == 1 && strings.Contains(got[0], c.want)) {
				t.Errorf("lines %q; want %q", got, c.want)
			}
			if c.name == "balanced" && strings.Contains(strings.Join(got, ""), "would") {
				t.Errorf("%q finds a drift in a balanced pair", got)
			}
		})
	}
}

func TestCautionLinesSayEachOnce(t *testing.T) {
	got := cautionLines([]supplementView{
		{Supplement: "a", Cautions: []string{"burns", "label it"}}, {Supplement: "b", Cautions: []string{"label it"}}, {Supplement: "c"}})
	if want := []string{"a: burns", "a, b: label it"}; !slices.Equal(got, want) {
		t.Errorf("%q; want %q", got, want)
	}
}
