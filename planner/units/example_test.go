package units_test

import (
	"fmt"

	"aliquot/planner/units"
)

func ExampleParseLevel() {
	level, err := units.ParseLevel(units.Alkalinity, "150 ppm CaCO3")
	fmt.Printf("%.2f %s %v\n", level, units.Alkalinity.Unit(), err)
	_, err = units.ParseLevel(units.Alkalinity, "8,3 dKH")
	fmt.Println(err)
	// Output:
	// 8.40 dKH <nil>
	// "8,3 dKH" does not begin with a usable number; use a point as decimal mark and no thousands separator
}

func ExampleCheckEntry() {
	for _, value := range []float64{8.3, 2.9, 143} {
		level, verdict, hint := units.CheckEntry(units.Alkalinity, value, "dKH")
		fmt.Println(level, verdict, hint)
	}
	// Output:
	// 8.3 accepted <nil>
	// 2.9 needs confirmation 2.9 dKH is an unusual alkalinity (allowed: 4..16 dKH); 2.9 meq/L would be 8.1 dKH: enter it with that unit, or confirm it as it is
	// 0 refused 143 dKH is no seawater alkalinity; 143 ppm CaCO3 would be 8.0 dKH: enter it with that unit
}

func ExampleParseVolume() {
	for _, text := range []string{"340 L", "90 US gal", "90 gal"} {
		ml, err := units.ParseVolume(text)
		fmt.Printf("%.0f mL, %v\n", ml, err)
	}
	// Output:
	// 340000 mL, <nil>
	// 340687 mL, <nil>
	// 0 mL, "90 gal" is no volume (allowed: mL, L, uL, US gal, imp gal); gallons differ by a fifth: say US gal or imp gal
}

func ExampleToCanonical() {
	phosphate, err := units.ToCanonical(units.Phosphate, 20, "ppb P")
	fmt.Printf("%.4f %s PO4, %v\n", phosphate, units.Phosphate.Unit(), err)
	// Output:
	// 0.0613 mg/L PO4, <nil>
}
