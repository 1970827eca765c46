package seawater

// System is a water with its constants: made once, asked often. A value; nothing in it changes.
type System struct {
	water    Water
	k        Constants
	totals   molar
	fugacity float64 // fCO2/pCO2
	bound    float64 // total/free hydrogen ions: 1 + total sulfate/KS
}

// molar are Totals in mol/kg.
type molar struct{ borate, sulfate, fluoride, calcium, phosphate, silicate float64 }

const micro = 1e-6

// NewSystem prepares the equilibria of w. It refuses what Constants refuses and totals out of range.
func NewSystem(w Water) (System, error) {
	k, err := w.Constants()
	if err != nil {
		return System{}, err
	}
	if err := w.checkTotals(); err != nil {
		return System{}, err
	}
	t := w.Totals()
	m := molar{
		borate: float64(t.Borate) * micro, sulfate: float64(t.Sulfate) * micro, fluoride: float64(t.Fluoride) * micro,
		calcium: float64(t.Calcium) * micro, phosphate: float64(t.Phosphate) * micro, silicate: float64(t.Silicate) * micro,
	}
	return System{water: w, k: k, totals: m, fugacity: fugacityFactor(w.Temperature.kelvin()), bound: 1 + m.sulfate/k.KS}, nil
}

// Water gives back what the system was made of.
func (s *System) Water() Water { return s.water }

// minor gives the alkalinity that is not carbonate at h, in mol/kg, and its derivative by ln h (both fall with
// h). Terms as in the Guide, ch. 2: borate, hydroxide, phosphate and silicate less free hydrogen ions,
// hydrogen sulfate, hydrogen fluoride and phosphoric acid.
func (s *System) minor(h float64) (a, slope float64) {
	k, t := &s.k, &s.totals
	b := t.borate * k.KB / (k.KB + h)
	oh := k.KW / h
	free := h / s.bound
	ks := k.KS * s.bound
	hso4 := t.sulfate * h / (h + ks)
	hf := t.fluoride * h / (h + k.KF)
	a = b + oh - free - hso4 - hf
	slope = -b*h/(k.KB+h) - oh - free - hso4*ks/(h+ks) - hf*k.KF/(h+k.KF)
	if t.silicate > 0 {
		si := t.silicate * k.KSi / (k.KSi + h)
		a += si
		slope -= si * h / (k.KSi + h)
	}
	if t.phosphate > 0 {
		p, d := s.phosphate(h)
		a += p
		slope += d
	}
	return a, slope
}

// phosphate gives [HPO4] + 2[PO4] - [H3PO4] and its derivative by ln h.
func (s *System) phosphate(h float64) (a, slope float64) {
	k := &s.k
	c3, c2 := h*h*h, k.KP1*h*h
	c1 := k.KP1 * k.KP2 * h
	c0 := k.KP1 * k.KP2 * k.KP3
	num, den := c1+2*c0-c3, c3+c2+c1+c0
	dNum, dDen := c1-3*c3, 3*c3+2*c2+c1
	return s.totals.phosphate * num / den, s.totals.phosphate * (dNum*den - num*dDen) / (den * den)
}

// carbonateShare is carbonate alkalinity per mole of dissolved inorganic carbon at h, 0 to 2, and its derivative by ln h.
func (s *System) carbonateShare(h float64) (f, slope float64) {
	k1h, k12 := s.k.K1*h, s.k.K1*s.k.K2
	den := h*h + k1h + k12
	f = (k1h + 2*k12) / den
	return f, k1h/den - f*(2*h*h+k1h)/den
}

// carbonatePerCO2 is carbonate alkalinity per mole of dissolved CO2 at h, and its derivative by ln h.
func (s *System) carbonatePerCO2(h float64) (f, slope float64) {
	one := s.k.K1 / h
	two := 2 * one * s.k.K2 / h
	return one + two, -one - 2*two
}
