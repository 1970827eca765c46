package stock

import (
	"fmt"
	"math"
)

// Use is what a system was found to use of one quantity each day: doses and water changes already taken into account.
// Both in the canonical unit per day. SD above 0 is the standard deviation of PerDay itself, not of one test.
type Use struct{ PerDay, SD float64 }

// Uses are the measured uses of a system over the same days.
type Uses struct {
	Alkalinity Use
	Calcium    Use
	Magnesium  *Use // nil = not measured
	// NitrateRise is the change of nitrate in mg/L NO3 a day that came from food or was taken up; nil = not measured.
	NitrateRise *Use
	Source      NitrogenSource
}

// BalanceKind names what Check found.
type BalanceKind string

// Kinds of finding. Precipitated calcium carbonate uses calcium and alkalinity as corals do: no ratio shows it.
const (
	BalanceHolds      BalanceKind = "holds"      // nothing that the tests could tell is wrong
	TooVague          BalanceKind = "too_vague"  // the tests could not have told even a gross error
	NegativeUse       BalanceKind = "negative"   // a level rises by itself
	CalciumTooHigh    BalanceKind = "calcium"    // more calcium than alkalinity can go with
	AlkalinityTooHigh BalanceKind = "alkalinity" // more alkalinity than calcium can go with
	MagnesiumTooHigh  BalanceKind = "magnesium"  // more magnesium than anything that calcifies takes
	NitratePart       BalanceKind = "nitrate"    // part of the alkalinity went with nitrate
)

// BalanceFinding is one finding, with its distance in standard deviations where it has one.
type BalanceFinding struct {
	Kind BalanceKind
	Z    float64
	Text string
}

// Balance is the verdict of Check.
type Balance struct {
	Confidence float64
	// ZLimit is the distance in standard deviations beyond which a ratio is called impossible: with Confidence, none of the
	// comparisons made is called so by chance.
	ZLimit float64
	// CalcifiedDKH is the use of alkalinity less the part that went with nitrate, dKH a day.
	CalcifiedDKH Use
	// CalciumExpected is what goes with it at the most and, if coralline algae did it all, at the least; mg/L a day.
	CalciumExpected, CalciumLeast float64
	Findings                      []BalanceFinding
}

// Wrong says whether any measured ratio cannot be true.
func (b Balance) Wrong() bool {
	for _, f := range b.Findings {
		switch f.Kind {
		case NegativeUse, CalciumTooHigh, AlkalinityTooHigh, MagnesiumTooHigh:
			return true
		}
	}
	return false
}

// Check says when measured uses cannot all be true, with a confidence from 0.8 to 0.9999 (0.95 is usual) that good ones
// are not blamed: each comparison is a z-test against the nearest possible value, and the limit is Bonferroni's for
// the number of comparisons made.
func Check(u Uses, confidence float64) (Balance, error) {
	if !(confidence >= 0.8 && confidence <= 0.9999) {
		return Balance{}, fmt.Errorf("a confidence of %g is outside 0.8..0.9999; 0.95 is usual", confidence)
	}
	if err := checkUses(u); err != nil {
		return Balance{}, err
	}
	comparisons := 3.0
	if u.Magnesium != nil {
		comparisons += 2
	}
	b := Balance{Confidence: confidence, ZLimit: math.Sqrt2 * math.Erfinv(1-(1-confidence)/comparisons)}
	b.nitrate(u)
	b.negative(u)
	b.calcium(u)
	b.magnesium(u)
	if !b.Wrong() {
		b.vagueness(u)
	}
	return b, nil
}

func checkUses(u Uses) error {
	for _, c := range []struct {
		name string
		use  *Use
		most float64
	}{{"alkalinity", &u.Alkalinity, 50}, {"calcium", &u.Calcium, 500}, {"magnesium", u.Magnesium, 1000}, {"nitrate", u.NitrateRise, 500}} {
		if c.use == nil {
			continue
		}
		if !(math.Abs(c.use.PerDay) <= c.most) || !(c.use.SD >= 1e-6*c.most && c.use.SD <= c.most) {
			return fmt.Errorf("%s: a use of %g ± %g a day; allowed is within ±%g with an sd of %g..%g", c.name, c.use.PerDay, c.use.SD, c.most, 1e-6*c.most, c.most)
		}
	}
	return nil
}

func (b *Balance) add(kind BalanceKind, z float64, text string) {
	b.Findings = append(b.Findings, BalanceFinding{kind, z, text})
}

// nitrate takes the part of the alkalinity out that went with nitrate.
func (b *Balance) nitrate(u Uses) {
	b.CalcifiedDKH = u.Alkalinity
	if u.NitrateRise != nil {
		part := -AlkalinityOfNitrate(u.NitrateRise.PerDay, u.Source)
		slope := math.Abs(AlkalinityOfNitrate(1, u.Source))
		b.CalcifiedDKH = Use{u.Alkalinity.PerDay - part, math.Hypot(u.Alkalinity.SD, slope*u.NitrateRise.SD)}
		if math.Abs(part) > u.Alkalinity.SD {
			b.add(NitratePart, 0, fmt.Sprintf("%+.2f dKH of the daily use of alkalinity goes with nitrate, without calcium", part))
		}
	}
	b.CalciumExpected = max(b.CalcifiedDKH.PerDay, 0) * CalciumPerDKH()
	b.CalciumLeast = b.CalciumExpected * (1 - mgShareMost)
}

func (b *Balance) negative(u Uses) {
	for _, c := range []struct {
		name string
		use  *Use
		why  string
	}{
		{"alkalinity", &b.CalcifiedDKH, "a bad test, a solution stronger than declared, or nitrate taken up that was not measured"},
		{"calcium", &u.Calcium, "a bad test, a solution stronger than declared, or calcium from elsewhere (reactor, salt mix, dissolving sand)"},
		{"magnesium", u.Magnesium, "a bad test, or magnesium from elsewhere"},
	} {
		if c.use == nil {
			continue
		}
		if z := c.use.PerDay / c.use.SD; z < -b.ZLimit {
			b.add(NegativeUse, z, fmt.Sprintf("%s rises by %.3g a day without a dose: %s", c.name, -c.use.PerDay, c.why))
		}
	}
}

// calcium compares with what can go with the alkalinity: all of it, or less where algae put magnesium in its place.
func (b *Balance) calcium(u Uses) {
	k := CalciumPerDKH()
	if z := (u.Calcium.PerDay - b.CalciumExpected) / math.Hypot(u.Calcium.SD, k*b.CalcifiedDKH.SD); z > b.ZLimit {
		b.add(CalciumTooHigh, z, fmt.Sprintf("calcium falls by %.3g mg/L a day, at most %.3g goes with %.3g dKH: a bad calcium or alkalinity test, a calcium solution weaker or an alkalinity solution stronger than declared, or alkalinity from a source not booked",
			u.Calcium.PerDay, b.CalciumExpected, b.CalcifiedDKH.PerDay))
		return
	}
	least := k * (1 - mgShareMost)
	if z := (u.Calcium.PerDay - b.CalciumLeast) / math.Hypot(u.Calcium.SD, least*b.CalcifiedDKH.SD); z < -b.ZLimit {
		why := "a bad alkalinity or calcium test, an alkalinity solution weaker or a calcium solution stronger than declared, magnesium hydroxide precipitating at the outlet, or acid"
		if u.NitrateRise == nil {
			why = "nitrification (22 mg/L of nitrate take 1 dKH; nitrate was not measured), " + why
		}
		b.add(AlkalinityTooHigh, z, fmt.Sprintf("alkalinity falls by %.3g dKH a day, with which at least %.3g mg/L of calcium go, and calcium falls by %.3g: %s",
			b.CalcifiedDKH.PerDay, b.CalciumLeast, u.Calcium.PerDay, why))
	}
}

func (b *Balance) magnesium(u Uses) {
	if u.Magnesium == nil {
		return
	}
	k := MagnesiumPerDKHMost()
	most := k * max(b.CalcifiedDKH.PerDay, 0)
	if z := (u.Magnesium.PerDay - most) / math.Hypot(u.Magnesium.SD, k*b.CalcifiedDKH.SD); z > b.ZLimit {
		b.add(MagnesiumTooHigh, z, fmt.Sprintf("magnesium falls by %.3g mg/L a day, at most %.3g goes with %.3g dKH: a bad magnesium test, falling salinity, or magnesium hydroxide precipitating where a strong base enters",
			u.Magnesium.PerDay, most, b.CalcifiedDKH.PerDay))
	}
}

// vagueness says whether silence means anything: a calcium use of twice or of none of what is expected must show.
func (b *Balance) vagueness(u Uses) {
	seen := b.ZLimit * math.Hypot(u.Calcium.SD, CalciumPerDKH()*b.CalcifiedDKH.SD)
	if seen > b.CalciumExpected {
		b.add(TooVague, 0, fmt.Sprintf("only a calcium use %.3g mg/L a day off would show, and %.3g is expected: test over more days", seen, b.CalciumExpected))
		return
	}
	b.add(BalanceHolds, 0, fmt.Sprintf("calcium %.3g mg/L and alkalinity %.3g dKH a day can both be true; an error above %.3g mg/L of calcium a day would show", u.Calcium.PerDay, u.Alkalinity.PerDay, seen))
}
