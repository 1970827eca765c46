package units

import "strings"

var spellings = strings.NewReplacer(
	"µ", "u", "μ", "u", "℃", "degc", "℉", "degf", "°", "deg", "₃", "3", "₄", "4", "³", "3",
	"millilitres", "ml", "milliliters", "ml", "millilitre", "ml", "milliliter", "ml",
	"microlitres", "ul", "microliters", "ul", "microlitre", "ul", "microliter", "ul",
	"litres", "l", "liters", "l", "litre", "l", "liter", "l",
	" / ", "/", "/ ", "/", " /", "/", " per ", "/",
)

// fold brings a unit's spelling to one form: lower case, u for micro, deg for the degree sign, single
// spaces, none around a slash, "per" as a slash.
func fold(unit string) string {
	s := strings.ToLower(strings.Join(strings.Fields(unit), " "))
	s = spellings.Replace(s)
	s = strings.TrimSpace(s)
	if rest, ok := strings.CutPrefix(s, "deg "); ok {
		s = "deg" + rest
	}
	return s
}

// ambiguousCase tells of a unit in which a capital letter may be the prefix mega or another word. Elsewhere
// case does not matter.
func ambiguousCase(unit string) (hint string, ambiguous bool) {
	numerator, _, _ := strings.Cut(unit, "/")
	switch strings.TrimSpace(numerator) {
	case "ML":
		return "ML reads as megalitres: write mL", true
	case "M":
		return "M may be metres, minutes or months: write m, min or d", true
	case "MS", "Ms":
		return "a capital M reads as mega: write ms", true
	}
	return "", false
}

// clip keeps messages short however long a hostile text is.
func clip(s string) string {
	const most = 60
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	return string(r[:most]) + "…"
}
