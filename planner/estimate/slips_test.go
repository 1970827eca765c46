package estimate_test

import "testing"

// Whose tests were grossly wrong now and then is believed less when one is far off, and who never slipped more.
func TestAKeepersSlipsAreLearnt(t *testing.T) {
	gross := func(slips int) float64 {
		f := newFilter()
		for d := 0.; d < 40; d++ {
			test := alk(d, 8.3)
			if n := int(d); n%5 == 3 && n/5 < slips {
				test.Value = 10.8
			}
			f.Test(test)
			doseDaily(f, d, d+1, 1.2)
		}
		return f.Test(alk(40, 9.1)).Gross
	}
	never, often := gross(0), gross(6)
	if odds := (often / (1 - often)) / (never / (1 - never)); !(odds > 4) {
		t.Errorf("a test 0.8 dKH off is grossly wrong with a chance of %.3f after no slips, %.3f after 6 in 40: odds times %.1f, want above 4", never, often, odds)
	}
}
