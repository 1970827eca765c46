package seawater

import "math"

// Constants are the equilibrium constants of a water at one atmosphere, concentrations in mol per kg of seawater.
// All on the total scale but KS, which is on the free scale.
type Constants struct {
	K0            float64 // CO2 solubility, mol/(kg atm)
	K1, K2        float64 // carbonic acid
	KB            float64 // boric acid
	KW            float64 // water, (mol/kg)²
	KS            float64 // hydrogen sulfate, free scale
	KF            float64 // hydrogen fluoride, total scale
	KP1, KP2, KP3 float64 // phosphoric acid
	KSi           float64 // silicic acid
	KspCalcite    float64 // (mol/kg)²
	KspAragonite  float64 // (mol/kg)²
}

// Constants gives the constants of w, or a *RangeError that names the first formula whose range w leaves. All
// together hold from 19 to 43 psu and 5 to 35 °C. KF is the exception: above 40 psu, below 9 and above 33 °C it is
// extrapolated, because hydrogen fluoride carries less than 0.02 µmol/kg of alkalinity above pH 6.5; the scale
// conversions, where it matters, refuse there.
func (w Water) Constants() (Constants, error) {
	for _, d := range [...]*domain{&lueker, &weiss, &dicksonB, &dicksonS, &millero, &mucci} {
		if err := d.check(w.Salinity, w.Temperature); err != nil {
			return Constants{}, err
		}
	}
	p := powersOf(w)
	k := Constants{
		K0: math.Exp(p.lnK0()),
		K1: math.Exp(-math.Ln10 * p.pK1()), K2: math.Exp(-math.Ln10 * p.pK2()),
		KB: math.Exp(p.lnKB()), KW: math.Exp(p.lnKW()), KS: math.Exp(p.lnKS()), KF: math.Exp(p.lnKF()),
		KspCalcite:   math.Exp(math.Ln10 * p.logKspCalcite()),
		KspAragonite: math.Exp(math.Ln10 * p.logKspAragonite()),
	}
	k.KP1, k.KP2, k.KP3, k.KSi = math.Exp(p.lnKP1()), math.Exp(p.lnKP2()), math.Exp(p.lnKP3()), math.Exp(p.lnKSi())
	return k, nil
}

// powers are the terms that the formulas share.
type powers struct {
	t, lnT  float64 // K
	s, root float64 // psu, its square root
	i, ri   float64 // ionic strength, its square root
	lnWater float64 // ln(kg of water per kg of seawater), turns mol/kg of water into mol/kg of seawater
}

func powersOf(w Water) powers {
	t, s := w.Temperature.kelvin(), float64(w.Salinity)
	i := ionicStrength(s)
	return powers{t: t, lnT: math.Log(t), s: s, root: math.Sqrt(s), i: i, ri: math.Sqrt(i), lnWater: math.Log(1 - 0.001005*s)}
}

// lnK0: Weiss 1974, Mar. Chem. 2:203-215.
func (p *powers) lnK0() float64 {
	h := p.t / 100
	return -60.2409 + 93.4517/h + 23.3585*(p.lnT-math.Log(100)) + p.s*(0.023517+h*(-0.023656+h*0.0047036))
}

// pK1: Lueker, Dickson & Keeling 2000, Mar. Chem. 70:105-119, the data of Mehrbach et al. 1973 on the total scale.
func (p *powers) pK1() float64 {
	return 3633.86/p.t - 61.2172 + 9.67770*p.lnT + p.s*(-0.011555+p.s*0.0001152)
}

// pK2: the same.
func (p *powers) pK2() float64 {
	return 471.78/p.t + 25.9290 - 3.16967*p.lnT + p.s*(-0.01781+p.s*0.0001122)
}

// lnKB: Dickson 1990, Deep-Sea Res. A 37:755-766, eq. 23.
func (p *powers) lnKB() float64 {
	return (-8966.90+p.root*(-2890.53+p.root*(-77.942+p.root*(1.728+p.root*-0.0996))))/p.t +
		148.0248 + 137.1942*p.root + 1.62142*p.s +
		(-24.4344-25.085*p.root-0.2474*p.s)*p.lnT + 0.053105*p.root*p.t
}

// toTotal is the difference ln K(total) - ln K(seawater scale) that the Guide takes as constant for KW, KP and KSi.
// Programs that convert with KS and KF instead have ln KW 0.008 lower at 35 psu and 25 °C.
const toTotal = -0.015

// lnKW: Millero 1995, Geochim. Cosmochim. Acta 59:661-677, in the Guide's form.
func (p *powers) lnKW() float64 {
	return 148.9802 + toTotal - 13847.26/p.t - 23.6521*p.lnT + (-5.977+118.67/p.t+1.0495*p.lnT)*p.root - 0.01615*p.s
}

// lnKS, free scale: Dickson 1990, J. Chem. Thermodyn. 22:113-127, eqs. 22 and 23.
func (p *powers) lnKS() float64 {
	return -4276.1/p.t + 141.328 - 23.093*p.lnT +
		(-13856/p.t+324.57-47.986*p.lnT)*p.ri +
		(35474/p.t-771.54+114.723*p.lnT)*p.i -
		2698/p.t*p.i*p.ri + 1776/p.t*p.i*p.i + p.lnWater
}

// lnKF, total scale: Perez & Fraga 1987, Mar. Chem. 21:161-168.
func (p *powers) lnKF() float64 { return 874/p.t - 9.68 + 0.111*p.root }

// lnKP1: Yao & Millero 1995 and Millero 1995, in the Guide's form, as are the next three.
func (p *powers) lnKP1() float64 {
	return -4576.752/p.t + 115.540 + toTotal - 18.453*p.lnT + (-106.736/p.t+0.69171)*p.root + (-0.65643/p.t-0.01844)*p.s
}

func (p *powers) lnKP2() float64 {
	return -8814.715/p.t + 172.1033 + toTotal - 27.927*p.lnT + (-160.340/p.t+1.3566)*p.root + (0.37335/p.t-0.05778)*p.s
}

func (p *powers) lnKP3() float64 {
	return -3070.75/p.t - 18.126 + toTotal + (17.27039/p.t+2.81197)*p.root + (-44.99486/p.t-0.09984)*p.s
}

func (p *powers) lnKSi() float64 {
	return -8904.2/p.t + 117.400 + toTotal - 19.334*p.lnT + (-458.79/p.t+3.5913)*p.ri +
		(188.74/p.t-1.5998)*p.i + (-12.1652/p.t+0.07871)*p.i*p.i + p.lnWater
}

// logKspCalcite: Mucci 1983, Am. J. Sci. 283:780-799.
func (p *powers) logKspCalcite() float64 {
	return -171.9065 - 0.077993*p.t + 2839.319/p.t + 71.595*p.lnT/math.Ln10 +
		(-0.77712+0.0028426*p.t+178.34/p.t)*p.root - 0.07711*p.s + 0.0041249*p.s*p.root
}

// logKspAragonite: the same.
func (p *powers) logKspAragonite() float64 {
	return -171.945 - 0.077993*p.t + 2903.293/p.t + 71.595*p.lnT/math.Ln10 +
		(-0.068393+0.0017276*p.t+88.135/p.t)*p.root - 0.10018*p.s + 0.0059415*p.s*p.root
}
