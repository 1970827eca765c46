// Package tank is a digital reef tank: a body of water that takes up what is dosed, so that plans can be
// rehearsed and simulated against something that answers.
//
// It decides how levels move with time, doses and water changes, and what a probe or a keeper's test would read.
// It is the truth of a simulation; planners and estimators must never see more of it than Probe and Test give.
// It plans nothing, judges nothing, reads no clock and has no randomness but what Params.Seed starts. The same
// Params and the same calls give the same numbers. It is a training partner, not a forecast for a real tank.
//
// # Equations
//
// Levels are in each quantity's canonical unit (dKH, mg/L, psu, degC, pH); inorganic carbon C is in µmol/kg; t is in days
// since the start. Where numbers are the program's, planner/METHODS.md has their sources.
//
// Alkalinity by volume and by mass are converted with the density of the water at the start, which salinity and
// temperature of a tank change by less than 0.2 %.
//
// Calcification, dKH/day, with the alkalinity A:
//
//	G(A, t) = U · f · (1+g)^t · (1 + d·cos 2π(h − m)) · e^x(t) · s(t)
//
// U is the uptake at the reference level R. f is 1 there and one of
//
//	MichaelisMenten: A/(A+K) · (R+K)/R      saturating in the level
//	Linear:          max(0, 1 + k·(A−R)/R)  k is the relative change of uptake per relative change of level
//	Constant:        1
//	Saturation:      max(0, Ω−1)/(ΩR−1)     Ω of aragonite now, ΩR at R with the pH and calcium of the start
//
// each times min(1, A/0.5 dKH), min(1, calcium/20 mg/L) and min(1, C/500 µmol/kg), so that an empty tank takes up
// nothing. g is growth per day, compounded. d is the day-night modulation with its peak at mid-light m; its mean over a
// day is 1. x is a slow wander: an Ornstein-Uhlenbeck process with standard deviation σ and correlation time τ, started
// at 0, made in steps of Δ = 10 min by x' = x·e^(−Δ/τ) + σ·√(1−e^(−2Δ/τ))·N(0,1), the exact solution. s is 1, from
// StepAt on StepFactor.
//
// Stoichiometry: Ca2+ + 2 HCO3- → CaCO3 + CO2 + H2O takes 2 eq of alkalinity with 1 mol of calcium and 1 mol of inorganic
// carbon. Magnesium goes with a tenth of the calcium by mass.
//
// Nitrate N, mg/L: dN/dt = F − u·N. One eq of alkalinity goes with each mol of nitrate formed from organic nitrogen and
// comes back with each mol taken up, without calcium.
//
// Inorganic carbon: dC/dt = B − P·l(t)·min(1, C/500) − G/2 − 24·k·([CO2] − K0·φ·p) + carbon of late alkalinity. B is
// respiration, P photosynthesis, l a squared cosine over the light period with the mean 1, k gas exchange per hour, p the
// room's pCO2, φ fugacity over partial pressure.
//
// [CO2], Ω and pH follow from A, C, calcium, boron, salinity and temperature through planner/seawater. pH is shown on the
// NBS scale. Below 19 and above 40 psu, below 9 and above 33 degC, below 200 and above 10000 µeq/kg, and outside of pH 6.5
// to 9.5 the nearest that is inside is taken.
//
// A dose adds its alkalinity, and c mol of carbon for each eq. What appears late goes into a pool that empties with a
// third of its time as time constant; each eq then brings its own carbon. That bacteria use oxygen for it is not
// modelled, nor is oxygen at all.
//
// Other quantities fall by a constant amount per day and stop at 0.
//
// Evaporation E litres a day, of which a share is replaced by fresh water: the volume falls by the rest, at most to
// half of the net volume, and everything dissolved concentrates with it. Doses add no volume: the top-off makes
// up for it.
//
// Temperature: T0 + b·cos 2π(h − m − 4 h) + q(t), q relaxing to 0 in 3 h after a water change.
//
// # Integration
//
// Steps end every 10 min from the start on, at StepAt, and at doses and water changes; each is one step of the classical
// fourth-order method of Runge and Kutta, with evaporation half before and half after. Between them nothing is fixed: a
// level is worked out from the last end. So how time is cut into calls of Advance changes no bit; a dose of nothing,
// which does cut a step, moves no level by more than 1e-4 of it, or of 1 unit where that is more.
package tank
