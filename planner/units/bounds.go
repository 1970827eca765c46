package units

import "time"

const day = 24 * time.Hour

// MaxChangePerDay is the hard bound of max_rise and max_fall, canonical unit per 24 h: the largest change of a
// level that may be asked for. Common practice, no published source. False: q cannot be followed.
func MaxChangePerDay(q Quantity) (float64, bool) {
	switch q {
	case Alkalinity:
		return 1.0, true
	case Calcium:
		return 25, true
	case Magnesium:
		return 100, true
	case Nitrate:
		return 2, true
	case Phosphate:
		return 0.02, true
	case Potassium:
		return 10, true
	case Strontium:
		return 0.5, true
	case Boron:
		return 0.3, true
	case Fluoride:
		return 0.1, true
	case Iodide, Iodine:
		return 0.01, true
	}
	return 0, false
}

// DefaultBand is the half width of the band around a target where none is declared, canonical unit. Common
// practice. False: a band must be declared.
func DefaultBand(q Quantity) (float64, bool) {
	switch q {
	case Alkalinity:
		return 0.5, true
	case Calcium:
		return 20, true
	case Magnesium:
		return 50, true
	}
	return 0, false
}

// StaleLimits gives the age at which a test of q no longer supports a correction: the default, and the most
// that stale_after may say. Common practice. Not ok: there is no default and stale_after must be declared.
func StaleLimits(q Quantity) (def, most time.Duration, ok bool) {
	switch q {
	case Alkalinity:
		return 10 * day, 21 * day, true
	case Calcium:
		return 21 * day, 42 * day, true
	case Magnesium:
		return 42 * day, 60 * day, true
	}
	return 0, 0, false
}

// OutlierDistance is the least distance between a test and the predicted level, canonical unit, at which the
// test is held as unconfirmed until another one agrees. Alkalinity, calcium and magnesium follow from the
// scatter of hobby kits and lots (common practice). The others are this program's own choice: about a tenth
// of the natural level at 35 psu, or for nutrients several times a kit's resolution. False: never judged.
func OutlierDistance(q Quantity) (float64, bool) {
	switch q {
	case Alkalinity:
		return 1.0, true
	case Calcium:
		return 40, true
	case Magnesium:
		return 80, true
	case Potassium:
		return 40, true
	case Strontium:
		return 1, true
	case Nitrate:
		return 5, true
	case Phosphate:
		return 0.05, true
	case Iodide, Iodine:
		return 0.03, true
	case Boron:
		return 0.5, true
	case Fluoride:
		return 0.2, true
	case Bromide:
		return 7, true
	case Iron:
		return 0.02, true
	case Salinity:
		return 1.5, true
	case PH:
		return 0.4, true
	case Temperature:
		return 3, true
	}
	return 0, false
}
