package seawater

import "testing"

var (
	sinkPSU       PSU
	sinkDensity   Density
	sinkCarbonate Carbonate
	sinkRise      MicromolPerKg
)

// Budget: 5 µs and no allocation for a full solution, constants included.
func BenchmarkCarbonate(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		s, err := NewSystem(standard)
		if err != nil {
			b.Fatal(err)
		}
		if sinkCarbonate, err = s.AlkalinityCarbon(2300, 2000); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkLargestRise(b *testing.B) {
	b.ReportAllocs()
	s, err := NewSystem(standard)
	if err != nil {
		b.Fatal(err)
	}
	c, err := s.AlkalinityPH(2300, 8.1)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if sinkRise, _, err = s.LargestRise(c, Carbonates, DefaultStep); err != nil {
			b.Fatal(err)
		}
	}
}

// Budget: 200 ns.
func BenchmarkSalinity(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		sinkPSU, _ = Salinity(53, 25, 0)
	}
}

// Budget: 200 ns.
func BenchmarkDensity(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		sinkDensity, _ = DensityOf(35, 25)
	}
}

func TestNothingAllocates(t *testing.T) {
	for name, f := range map[string]func(){
		"carbonate": func() {
			s, _ := NewSystem(standard)
			sinkCarbonate, _ = s.AlkalinityCarbon(2300, 2000)
			sinkRise, _, _ = s.LargestRise(sinkCarbonate, Carbonates, DefaultStep)
		},
		"salinity": func() { sinkPSU, _ = Salinity(53, 25, 0) },
		"density":  func() { sinkDensity, _ = DensityOf(35, 25) },
		"inverse":  func() { sinkPSU, _ = SalinityFromDensity(1023, 25) },
	} {
		if n := testing.AllocsPerRun(100, f); n != 0 {
			t.Errorf("%s allocates %v times", name, n)
		}
	}
}
