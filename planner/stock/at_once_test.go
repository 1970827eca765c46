package stock

import (
	"math"
	"testing"
	"time"
)

func TestAtOnce(t *testing.T) {
	for _, c := range []struct {
		name          string
		parts         []Part
		share, carbon float64
	}{
		{"carbonate", []Part{{Salt: "sodium carbonate", GramsPerLitre: 80}}, 1, 0.5},
		{"bicarbonate", []Part{{Salt: "sodium bicarbonate", GramsPerLitre: 60}}, 1, 1},
		{"hydroxide", []Part{{Salt: "sodium hydroxide", GramsPerLitre: 10}}, 1, 0},
		{"no alkalinity", []Part{{Salt: "calcium chloride dihydrate", GramsPerLitre: 100}}, 0, 0},
		{"organic", []Part{{Salt: "calcium formate", GramsPerLitre: 50}}, 0, 0},
		// One mole of each: 2 eq with 1 mol of carbon and 1 eq with 1 mol.
		{"mixed", []Part{{Salt: "sodium carbonate", GramsPerLitre: 105.988}, {Salt: "sodium bicarbonate", GramsPerLitre: 84.006}}, 1, 2. / 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			share, carbon, err := AtOnce(c.parts)
			if err != nil || math.Abs(share-c.share) > 1e-9 || math.Abs(carbon-c.carbon) > 1e-4 {
				t.Errorf("AtOnce = %g, %g, %v; want %g, %g", share, carbon, err, c.share, c.carbon)
			}
		})
	}
	if _, _, err := AtOnce([]Part{{Salt: "moon dust", GramsPerLitre: 1}}); err == nil {
		t.Error("an unknown salt was taken")
	}
}

func TestLate(t *testing.T) {
	for _, c := range []struct {
		name  string
		parts []Part
		share float64
		over  time.Duration
	}{
		{"carbonate", []Part{{Salt: "sodium carbonate", GramsPerLitre: 80}}, 0, 0},
		{"formate", []Part{{Salt: "calcium formate", GramsPerLitre: 50}}, 1, LateUsually},
		{"no alkalinity", []Part{{Salt: "calcium chloride dihydrate", GramsPerLitre: 100}}, 0, 0},
		// Two equivalents of carbonate and one of acetate.
		{"mixed", []Part{{Salt: "sodium carbonate", GramsPerLitre: 105.988}, {Salt: "sodium acetate anhydrous", GramsPerLitre: 82.034}}, 1. / 3, LateUsually},
		{"mixed, half pure", []Part{{Salt: "sodium carbonate", GramsPerLitre: 105.988}, {Salt: "sodium acetate anhydrous", GramsPerLitre: 82.034, Purity: .5}}, 1. / 5, LateUsually},
	} {
		t.Run(c.name, func(t *testing.T) {
			share, over, err := Late(c.parts)
			if err != nil || math.Abs(share-c.share) > 1e-4 || over != c.over {
				t.Errorf("Late = %g, %v, %v; want %g, %v", share, over, err, c.share, c.over)
			}
			if once, _, err := AtOnce(c.parts); err != nil || share > 0 && math.Abs(once+share-1) > 1e-9 {
				t.Errorf("%g at once and %g late are not all of it", once, share)
			}
			if IsLate(Classes(c.parts)) != (share > 0) {
				t.Errorf("IsLate is not what Late says, %g", share)
			}
		})
	}
	if _, _, err := Late([]Part{{Salt: "moon dust", GramsPerLitre: 1}}); err == nil {
		t.Error("an unknown salt was taken")
	}
}
