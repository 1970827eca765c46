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
// Levels are in each quantity's canonical unit (dKH, mg/L, psu, degC, pH); t is in days since the start.
//
// Calcification, dKH/day, with the alkalinity A:
//
//	C(A, t) = U · f(A) · (1+g)^t · (1 + d·cos 2π(h − m)) · e^x(t) · s(t)
//
// U is the uptake at the reference level R. f is 1 at R and one of
//
//	MichaelisMenten: A/(A+K) · (R+K)/R      saturating in the level (our own choice of a form that is common
//	                                        for enzymes and uptake; K is for the keeper of the model to choose)
//	Linear:          max(0, 1 + k·(A−R)/R)  k is the relative change of uptake per relative change of level
//	Constant:        1
//
// each times min(1, A/0.5 dKH) and min(1, calcium/20 mg/L), so that an empty tank takes up nothing (our own
// choice). g is growth per day, compounded. d is the day-night modulation with its peak at mid-light m; its mean
// over a day is 1 (coral calcification is faster in light; the cosine is our own choice). x is a slow wander: an
// Ornstein-Uhlenbeck process with standard deviation σ and correlation time τ, started at 0, made in steps of
// Δ = 10 min by x' = x·e^(−Δ/τ) + σ·√(1−e^(−2Δ/τ))·N(0,1), the exact solution (our own choice). s is 1, from
// StepAt on StepFactor.
//
// Stoichiometry: Ca2+ + 2 HCO3- → CaCO3 + CO2 + H2O takes 2 eq of alkalinity with 1 mol of calcium, so 20.039 mg/L
// calcium per meq/L (CIAAW 2021 atomic weights), 1 meq/L being 2.80385 dKH. Magnesium goes with a tenth of the
// calcium by mass (common practice, an upper figure).
//
// Nitrate N, mg/L: dN/dt = F − u·N. One eq of alkalinity goes with each mol of nitrate formed from organic
// nitrogen and comes back with each mol taken up: 22.11 mg/L per dKH, without calcium.
//
// Other quantities fall by a constant amount per day and stop at 0.
//
// Evaporation E litres a day, of which a share is replaced by fresh water: the volume falls by the rest, at most to
// half of the net volume, and everything dissolved concentrates with it. Doses add no volume: the top-off makes
// up for it.
//
// Between the ends of 10 min steps counted from the start (and StepAt) levels are integrated by the midpoint rule;
// an Advance that ends inside a step integrates that part only and keeps the wander of the step. The error of
// splitting one Advance into many is of third order in 10 min: below 1e-5 of a level, or of 1 unit where that is more,
// for uptakes that a reef can have.
//
// # pH, first form
//
// This is no carbonate system; it will give way to one. Additions say already how much inorganic carbon comes with
// their alkalinity, which is what such a system needs.
//
//	pH(t) = pH0 + a·cos 2π(h − m − 4 h) + log10(A/A0) + p(t)
//
// The day curve peaks 4 h after mid-light and is lowest before the lights come on (our own choice of phase). At a
// constant CO2 of the air pH moves with the logarithm of alkalinity (the carbonate equilibrium with nearly all
// alkalinity as bicarbonate). p relaxes to 0 with the time constant of gas exchange, 6 h (our own choice). A dose
// moves pH at once by 0.5·(1−c) per dKH, where c is mol of inorganic carbon per eq of alkalinity: 0.5 for
// hydroxide (c 0), 0.25 for carbonate (c 0.5), 0 for bicarbonate (c 1); the first two hold at pH 8.1 (common
// practice: 0.2 dKH as carbonate or 0.1 dKH as hydroxide raise it by 0.05), the small fall after bicarbonate is left out.
//
// Temperature: T0 + b·cos 2π(h − m − 4 h) + q(t), q relaxing to 0 in 3 h after a water change (our own choice).
package tank
