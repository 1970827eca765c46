package seawater

// PSU is practical salinity on PSS-78. The number has no unit; "psu" is what keepers call it.
type PSU float64

// Celsius is a temperature on ITS-90, the scale of every thermometer made since 1990.
type Celsius float64

// IPTS68 is a temperature in °C on the scale of 1968, in which PSS-78 and EOS-80 are written. It is a type of
// its own because leaving out the conversion costs 0.0046 psu at 25 °C.
type IPTS68 float64

// scale68 is t68/t90 (Saunders 1990, WOCE Newsletter 10:10), good to 0.5 mK from -2 to 40 °C.
const scale68 = 1.00024

// IPTS68 converts to the scale of 1968.
func (t Celsius) IPTS68() IPTS68 { return IPTS68(t * scale68) }

// ITS90 converts a temperature of an old table to ITS-90.
func (t IPTS68) ITS90() Celsius { return Celsius(t / scale68) }

// kelvin is t on ITS-90 in K. The constants of the carbonate system are used with ITS-90 as the Guide does;
// the difference to IPTS-68 is far below their uncertainty.
func (t Celsius) kelvin() float64 { return float64(t) + 273.15 }

// Conductivity is an electrical conductivity in mS/cm, as measured: not compensated to a reference temperature.
type Conductivity float64

// Dbar is a pressure above that of the atmosphere: 0 at the surface, about 1 for each metre of depth.
type Dbar float64

// Density is in kg/m³.
type Density float64

// MicromolPerKg is an amount of substance, or of equivalents for alkalinity, in µmol per kg of seawater.
type MicromolPerKg float64

// Microatm is a partial pressure or fugacity in µatm.
type Microatm float64

// TotalPH is pH on the total scale, that of the Guide and of all constants here.
type TotalPH float64

// SeawaterPH is pH on the seawater scale (total and hydrogen fluoride).
type SeawaterPH float64

// FreePH is pH on the free scale (hydrogen ions that no sulfate or fluoride holds).
type FreePH float64

// NBSPH is pH on the activity scale of NBS buffers (4, 7, 10), which is what a probe calibrated in them reads.
type NBSPH float64
