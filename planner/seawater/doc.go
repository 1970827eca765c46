// Package seawater gives salinity, density and the carbonate system of seawater at the surface from published formulas.
//
// It decides numbers only: what a conductivity, a density or a pH means, and what a rise of alkalinity does to pH.
// It never decides a dose, never extrapolates (inputs outside a formula's range are refused with the formula's
// name), reads no clock and knows nothing of tanks, probes or supplements. It imports nothing of ours.
//
// # Formulas
//
// Temperatures are ITS-90 (Celsius); PSS-78 and EOS-80 are written in IPTS-68 and are given t68 = 1.00024·t90 inside.
//
//	formula                                     source                                         range
//	salinity from conductivity, pressure        PSS-78: Lewis 1980; UNESCO 44 (1983)           2-42 psu, -2 to 35 °C, 0-10000 dbar
//	C(35, 15, 0) = 42.914 mS/cm                 Culkin & Smith 1980
//	density at one atmosphere                   EOS-80: Millero & Poisson 1981; UNESCO 44      0-42 psu, -2 to 40 °C
//	pure water                                  Tanaka et al. 2001                             0-40 °C
//	specific gravity                            EOS-80 for sample and water                    as EOS-80
//	K0                                          Weiss 1974                                     0-45 psu, -1 to 45 °C
//	fCO2/pCO2                                   Weiss 1974, at one atmosphere                  -1 to 45 °C
//	K1, K2                                      Lueker, Dickson & Keeling 2000                 19-43 psu, 2-35 °C
//	KB                                          Dickson 1990 (Deep-Sea Res.) eq. 23            5-45 psu, 0-45 °C
//	KS (free scale)                             Dickson 1990 (J. Chem. Thermodyn.)             5-45 psu, 0-45 °C
//	KF                                          Perez & Fraga 1987                             10-40 psu, 9-33 °C
//	KW, KP1-3, KSi                              Millero 1995, less 0.015 in ln K               0-45 psu, 0-45 °C
//	Ksp of calcite and aragonite                Mucci 1983                                     5-44 psu, 5-40 °C
//	total borate                                Uppström 1974
//	total sulfate, fluoride, calcium            Morris & Riley 1966; Riley 1965; Riley & Tongudai 1967
//	fH (NBS scale)                              Takahashi et al. 1982 (GEOSECS)                as KF
//	alkalinity in dKH                           DIN 38409-6: 1 °dH = 10 mg/L CaO; CIAAW 2021
//
// Constants are in the form of Dickson, Sabine & Christian 2007, Guide to Best Practices for Ocean CO2 Measurements
// (PICES Special Publication 3, ch. 5; "the Guide" here), on the total pH scale, in mol per kg of seawater. A
// System therefore holds from 19 to 43 psu and from 5 to 35 °C. Below 2 psu PSS-78 has an extension (Hill et al.
// 1986); it is left out, as no published value was at hand to check it against.
//
// # Where sources disagree
//
//   - ln KW at 35 psu and 25 °C is -30.434 here and in the Guide, -30.442 in programs that turn the seawater scale
//     into the total scale with KS and KF, where the Guide subtracts 0.015. The same for KP1-3 and KSi. It moves
//     dissolved inorganic carbon by up to 0.2 µmol/kg.
//   - Total borate at 35 psu is 415.76 µmol/kg here (boron 10.811); programs that round have 415.70; Lee et al. 2010
//     have 432.6, which is not used because the constants were made with the lower number.
//   - Total calcium at 35 psu is 10284.6 µmol/kg here, with the calcium weight of 40.087 that CO2SYS uses; 10286.9
//     with 40.078; 10282.05 in the reference composition of Millero et al. 2008.
//   - Pure water at 0 to 40 °C: EOS-80 at 0 psu is up to 0.0016, IAPWS-95 up to 0.0012, the polynomial of
//     ISO/TR 20461 up to 0.0041 kg/m³ (from 4 °C) away from the table of Tanaka et al. 2001.
//   - TEOS-10 and EOS-80 differ by up to 0.006 kg/m³ from 30 to 37 psu and 20 to 28 °C.
//
// # What the numbers are good for
//
// pK1 is uncertain by about 0.0075 and pK2 by 0.015 (Orr et al. 2018, Mar. Chem. 207:84, from memory); a hobby pH by 0.05 or more (NBSUncertainty), a hobby
// alkalinity by 0.1 to 0.3 dKH. Ions are in the ratios of natural seawater; salt mixes differ, and so does water to
// which calcium chloride and bicarbonate were added for years. Organic acids are not counted.
package seawater
