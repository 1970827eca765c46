package safety

import (
	"math"
	"math/big"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestMillilitresBecomeWholeMicrolitres(t *testing.T) {
	tests := []struct {
		name     string
		ml       float64
		down, up Microlitres
	}{
		{"zero", 0, 0, 0},
		{"negative zero", math.Copysign(0, -1), 0, 0},
		{"8.2 mL is 8200 µL though 8.2 has no exact binary form", 8.2, 8200, 8200},
		{"0.1+0.2", 0.1 + 0.2, 300, 300},
		{"1.001", 1.001, 1001, 1001},
		{"a third", 1.0 / 3, 333, 334},
		{"half a microlitre", 0.0005, 0, 1},
		{"just below a whole one", 0.0009999, 0, 1},
		{"just above a whole one", 0.0010001, 1, 2},
		{"less than the nudge below", 0.001 - 1e-10, 1, 1},
		{"less than the nudge above", 0.001 + 1e-10, 1, 1},
		{"smallest positive number", math.SmallestNonzeroFloat64, 0, 0},
		{"the largest allowed", 1e9, 1e12, 1e12},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			down, errDown := MillilitresDown(tt.ml)
			up, errUp := MillilitresUp(tt.ml)
			if errDown != nil || errUp != nil || down != tt.down || up != tt.up {
				t.Errorf("%v mL = %d (%v) down, %d (%v) up; want %d, %d", tt.ml, down, errDown, up, errUp, tt.down, tt.up)
			}
		})
	}
}

func TestINV8HostileMillilitresAreRefused(t *testing.T) {
	for name, ml := range map[string]float64{
		"not a number":        math.NaN(),
		"infinite":            math.Inf(1),
		"minus infinite":      math.Inf(-1),
		"negative":            -0.001,
		"just above the most": math.Nextafter(1e9, 2e9),
		"largest float":       math.MaxFloat64,
	} {
		t.Run(name, func(t *testing.T) {
			for way, convert := range map[string]func(float64) (Microlitres, error){"down": MillilitresDown, "up": MillilitresUp} {
				v, err := convert(ml)
				if err == nil || v != 0 {
					t.Fatalf("%v mL %s = %d, %v; want 0 and an error", ml, way, v, err)
				}
				if !strings.Contains(err.Error(), "mL") {
					t.Errorf("error %q does not name the unit", err)
				}
			}
		})
	}
}

func TestMillilitresRoundOnTheirSide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ml := rapid.Float64Range(0, 1e5).Draw(t, "ml")
		down, err := MillilitresDown(ml)
		if err != nil {
			t.Fatal(err)
		}
		up, err := MillilitresUp(ml)
		if err != nil {
			t.Fatal(err)
		}
		exact := ml * 1000
		if float64(down) > exact+1e-6 || float64(up) < exact-1e-6 || up-down > 1 || up < down {
			t.Fatalf("%v µL = %d down, %d up", exact, down, up)
		}
	})
}

func TestEveryWholeMicrolitreSurvivesItsDisplay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := Microlitres(rapid.Int64Range(0, 1e10).Draw(t, "v"))
		down, errDown := MillilitresDown(v.Millilitres())
		up, errUp := MillilitresUp(v.Millilitres())
		if down != v || up != v || errDown != nil || errUp != nil {
			t.Fatalf("%d µL reads as %v mL and comes back as %d (%v) and %d (%v)", v, v.Millilitres(), down, errDown, up, errUp)
		}
	})
}

func TestAmountsRead(t *testing.T) {
	if got := Microlitres(8200).String(); got != "8.2 mL" {
		t.Errorf("8200 µL reads %q; want 8.2 mL", got)
	}
	if got := Milliseconds(19_600).Seconds(); got != 19.6 {
		t.Errorf("19600 ms = %v s; want 19.6", got)
	}
	if got := Milliseconds(1500).Duration(); got != 1500*time.Millisecond {
		t.Errorf("1500 ms = %s; want 1.5s", got)
	}
}

func TestMillisecondsUp(t *testing.T) {
	tests := []struct {
		d    time.Duration
		want Milliseconds
	}{
		{0, 0},
		{1, 1},
		{time.Millisecond - 1, 1},
		{time.Millisecond, 1},
		{time.Millisecond + 1, 2},
		{time.Minute, 60_000},
	}
	for _, tt := range tests {
		if got := MillisecondsUp(tt.d); got != tt.want {
			t.Errorf("MillisecondsUp(%d ns) = %d ms; want %d", tt.d, got, tt.want)
		}
	}
}

func TestRateFromMillilitresPerMinute(t *testing.T) {
	tests := []struct {
		name string
		in   float64
		want Rate
		ok   bool
	}{
		{"just below the slowest", 0.00999, 0, false},
		{"the slowest", 0.01, 167, true},
		{"10 mL/min", 10, 166_667, true},
		{"the rate taken for an uncalibrated pump", 120, UncalibratedRate, true},
		{"the fastest", 5000, 83_333_333, true},
		{"just above the fastest", 5000.001, 0, false},
		{"zero", 0, 0, false},
		{"negative", -10, 0, false},
		{"not a number", math.NaN(), 0, false},
		{"infinite", math.Inf(1), 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := RateFromMillilitresPerMinute(tt.in)
			if got != tt.want || (err == nil) != tt.ok {
				t.Fatalf("%v mL/min = %d nL/s, %v; want %d, ok %v", tt.in, got, err, tt.want, tt.ok)
			}
			if tt.ok && math.Abs(got.MillilitresPerMinute()-tt.in) > 3.1e-5 {
				t.Errorf("%d nL/s reads %v mL/min; want %v within half a nL/s", got, got.MillilitresPerMinute(), tt.in)
			}
		})
	}
}

func TestVolumeAndTimeTable(t *testing.T) {
	tests := []struct {
		name   string
		rate   Rate
		ask    Microlitres
		time   Milliseconds // for ask
		volume Microlitres  // in that time
	}{
		{"10 mL/min, 2 mL", 166_667, 2000, 11_999, 2000},
		{"1 mL/s, 1 mL", 1_000_000, 1000, 1000, 1000},
		{"too fast for one microlitre", 83_333_333, 1, 0, 0},
		{"no rate", 0, 1000, 0, 0},
		{"negative rate", -1, 1000, 0, 0},
		{"no volume", 166_667, 0, 0, 0},
		{"negative volume", 166_667, -5, 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			at := tt.rate.TimeFor(tt.ask)
			if got := tt.rate.VolumeIn(at); at != tt.time || got != tt.volume {
				t.Errorf("TimeFor(%s) = %d ms, which moves %d µL; want %d ms, %d µL", tt.ask, at, got, tt.time, tt.volume)
			}
		})
	}
}

func TestINV8TimeForNeverMovesMoreThanAsked(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Rate(rapid.Int64Range(167, 83_333_333).Draw(t, "rate"))
		v := Microlitres(rapid.Int64Range(1, 1e9).Draw(t, "volume"))
		ms := r.TimeFor(v)
		if got := r.VolumeIn(ms); got > v {
			t.Fatalf("rate %d: TimeFor(%d µL) = %d ms, which moves %d µL", r, v, ms, got)
		}
		if got := r.VolumeIn(ms + 1); got <= v {
			t.Fatalf("rate %d: TimeFor(%d µL) = %d ms is not the longest: %d ms moves %d µL", r, v, ms, ms+1, got)
		}
	})
}

func TestToleranceTable(t *testing.T) {
	tests := []struct {
		tol          Tolerance
		v            Microlitres
		above, below Microlitres
	}{
		{50, 1000, 1050, 950},
		{50, 1001, 1052, 950}, // 1051.05, 950.95
		{50, 1, 2, 0},
		{50, 20, 21, 19},
		{150, 2000, 2300, 1700},
		{0, 7, 7, 7},
		{1000, 7, 14, 0},
		{1500, 7, 18, 0},
		{50, 0, 0, 0},
		{50, -100, 0, 0},
	}
	for _, tt := range tests {
		if above, below := tt.tol.Above(tt.v), tt.tol.Below(tt.v); above != tt.above || below != tt.below {
			t.Errorf("%d µL with %d permille = %d above, %d below; want %d, %d", tt.v, tt.tol, above, below, tt.above, tt.below)
		}
	}
}

// The conversions agree with arithmetic of any size, and where 64 bits are too few they end at the largest
// amount: an absurd input must not wrap round to a small one.
func TestINV8H35AbsurdAmountsNeverWrapRound(t *testing.T) {
	million, thousand := big.NewInt(1_000_000), big.NewInt(1000)
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Int64Range(1, math.MaxInt64).Draw(t, "a")
		b := rapid.Int64Range(1, math.MaxInt64).Draw(t, "b")
		exact := new(big.Int).Mul(big.NewInt(a), big.NewInt(b))
		least, rest := new(big.Int).QuoRem(exact, million, new(big.Int))
		most := new(big.Int).Add(least, big.NewInt(int64(rest.Sign())))
		got, gotLeast := int64(Rate(a).VolumeIn(Milliseconds(b))), int64(Rate(a).leastIn(Milliseconds(b)))
		if exact.IsInt64() {
			if got != most.Int64() || gotLeast != least.Int64() {
				t.Fatalf("%d nL/s for %d ms = %d..%d µL; want %s..%s", a, b, gotLeast, got, least, most)
			}
		} else if got < math.MaxInt64/1_000_000 || gotLeast != math.MaxInt64/1_000_000 {
			t.Fatalf("%d nL/s for %d ms = %d..%d µL; want the largest amount", a, b, gotLeast, got)
		}
		above := new(big.Int).Mul(big.NewInt(a), big.NewInt(1050))
		if got := int64(Tolerance(50).Above(Microlitres(a))); above.IsInt64() {
			if q := new(big.Int).Quo(above, thousand).Int64(); got != q && got != q+1 {
				t.Fatalf("Above(%d) = %d; want %d rounded up", a, got, q)
			}
		} else if got < math.MaxInt64/1000 {
			t.Fatalf("Above(%d) = %d wrapped round", a, got)
		}
		if below := Tolerance(50).Below(Microlitres(a)); below < 0 || below > Microlitres(a) {
			t.Fatalf("Below(%d) = %d", a, below)
		}
		if ms := Rate(a).TimeFor(Microlitres(b)); ms < 0 {
			t.Fatalf("TimeFor(%d) at %d nL/s = %d ms", b, a, ms)
		}
	})
}

func TestGraceIsTheSmallerOfItsBounds(t *testing.T) {
	tests := []struct{ interval, want time.Duration }{
		{0, 0},
		{time.Hour, 15 * time.Minute},
		{2*time.Hour - 4, 30*time.Minute - 1},
		{2 * time.Hour, 30 * time.Minute},
		{2*time.Hour + 4, 30 * time.Minute},
		{7 * 24 * time.Hour, 30 * time.Minute},
	}
	for _, tt := range tests {
		if got := Grace(tt.interval); got != tt.want {
			t.Errorf("Grace(%s) = %s; want %s", tt.interval, got, tt.want)
		}
	}
}
