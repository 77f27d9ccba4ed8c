package quantity

import (
	"fmt"
	"math"
	"strings"
)

// Kind is what a unit measures. Only units of one kind convert into each other.
type Kind uint8

// The kinds, each with the unit its factors refer to.
const (
	Bare        Kind = iota // no unit known
	Length                  // mm
	Angle                   // degree
	Force                   // newton
	Torque                  // newton metre
	Mass                    // kilogram
	Temperature             // degree Celsius
	Stress                  // megapascal
)

// Unit is a unit of measurement.
type Unit uint8

// The units. None is a number whose unit the stream did not say.
const (
	None Unit = iota
	MM
	UM
	CM
	M
	In
	Thou
	Ft
	Deg
	Rad
	Arcmin
	Arcsec
	N
	KN
	Lbf
	Ozf
	Kgf
	Gf
	NM
	NCM
	NMM
	LbfIn
	LbfFt
	OzfIn
	KgfCM
	KgfM
	G
	Kg
	Lb
	Oz
	DegC
	DegF
	Kelvin
	Pa
	MPa
	GPa
	Psi
	numUnits
)

type unitDef struct {
	symbol string
	kind   Kind
	factor Decimal // exact, into the kind's own unit; zero where none is exact
	approx float64 // used where no exact factor fits
	words  []string
}

func dec(s string) Decimal {
	d, err := ParseDecimal(s)
	if err != nil {
		panic(err)
	}
	return d
}

// Factors: NIST SP 811 (2008), Appendix B; 1 in = 25.4 mm, 1 lb = 0.45359237 kg
// and standard gravity 9.80665 m/s2 exactly, the others follow from these.
const (
	gravity = 9.80665
	pound   = 0.45359237
)

var units = [numUnits]unitDef{
	None:   {"", Bare, dec("1"), 1, nil},
	MM:     {"mm", Length, dec("1"), 1, []string{"millimeter", "millimetre"}},
	UM:     {"um", Length, dec("0.001"), 0.001, []string{"µm", "μm", "micron", "microns"}},
	CM:     {"cm", Length, dec("10"), 10, nil},
	M:      {"m", Length, dec("1000"), 1000, nil},
	In:     {"in", Length, dec("25.4"), 25.4, []string{"inch", "inches", `"`}},
	Thou:   {"thou", Length, dec("0.0254"), 0.0254, []string{"mil", "mils"}},
	Ft:     {"ft", Length, dec("304.8"), 304.8, nil},
	Deg:    {"deg", Angle, dec("1"), 1, []string{"°", "degree", "degrees"}},
	Rad:    {"rad", Angle, Decimal{}, 180 / math.Pi, nil},
	Arcmin: {"arcmin", Angle, Decimal{}, 1.0 / 60, []string{"'", "′"}},
	Arcsec: {"arcsec", Angle, Decimal{}, 1.0 / 3600, []string{"″"}},
	N:      {"N", Force, dec("1"), 1, []string{"newton", "newtons"}},
	KN:     {"kN", Force, dec("1000"), 1000, nil},
	Lbf:    {"lbf", Force, dec("4.4482216152605"), 4.4482216152605, nil},
	Ozf:    {"ozf", Force, dec("0.27801385095378125"), 0.27801385095378125, nil},
	Kgf:    {"kgf", Force, dec("9.80665"), gravity, nil},
	Gf:     {"gf", Force, dec("0.00980665"), gravity / 1000, nil},
	NM:     {"N·m", Torque, dec("1"), 1, []string{"N*m", "Nm", "N.m", "N-m"}},
	NCM:    {"N·cm", Torque, dec("0.01"), 0.01, []string{"N*cm", "Ncm", "N.cm", "N-cm"}},
	NMM:    {"N·mm", Torque, dec("0.001"), 0.001, []string{"N*mm", "Nmm", "N.mm", "N-mm"}},
	LbfIn:  {"lbf·in", Torque, Decimal{}, pound * gravity * 0.0254, []string{"lbf*in", "in*lbf", "in·lbf", "lbf.in", "lbfin", "in.lbf", "inlbf", "in-lbf", "lbf-in", "in-lb", "inlb", "in.lb", "lb-in", "lb.in"}},
	LbfFt:  {"lbf·ft", Torque, Decimal{}, pound * gravity * 0.3048, []string{"lbf*ft", "ft*lbf", "ft·lbf", "lbf.ft", "lbfft", "ft.lbf", "ftlbf", "ft-lbf", "lbf-ft", "ft-lb", "ftlb", "ft.lb", "lb-ft", "lb.ft"}},
	OzfIn:  {"ozf·in", Torque, Decimal{}, pound / 16 * gravity * 0.0254, []string{"ozf*in", "in*ozf", "in·ozf", "ozf.in", "ozfin", "in.ozf", "inozf", "in-ozf", "ozf-in", "in-oz", "inoz", "oz-in", "oz.in", "ozin"}},
	KgfCM:  {"kgf·cm", Torque, dec("0.0980665"), gravity / 100, []string{"kgf*cm", "kgf.cm", "kgfcm", "kgf-cm"}},
	KgfM:   {"kgf·m", Torque, dec("9.80665"), gravity, []string{"kgf*m", "kgf.m", "kgfm", "kgf-m"}},
	G:      {"g", Mass, dec("0.001"), 0.001, []string{"gram", "grams"}},
	Kg:     {"kg", Mass, dec("1"), 1, nil},
	Lb:     {"lb", Mass, dec("0.45359237"), pound, []string{"lbs"}},
	Oz:     {"oz", Mass, Decimal{}, pound / 16, nil},
	DegC:   {"°C", Temperature, Decimal{}, 1, []string{"C", "degC"}},
	DegF:   {"°F", Temperature, Decimal{}, 5.0 / 9, []string{"F", "degF"}},
	Kelvin: {"K", Temperature, Decimal{}, 1, nil},
	Pa:     {"Pa", Stress, dec("0.000001"), 1e-6, nil},
	MPa:    {"MPa", Stress, dec("1"), 1, []string{"N/mm2", "N/mm²"}},
	GPa:    {"GPa", Stress, dec("1000"), 1000, nil},
	Psi:    {"psi", Stress, Decimal{}, pound * gravity / (0.0254 * 0.0254) * 1e-6, nil},
}

var byWord = func() map[string]Unit {
	m := make(map[string]Unit, 4*int(numUnits))
	for u := None + 1; u < numUnits; u++ {
		m[units[u].symbol] = u
		for _, w := range units[u].words {
			m[w] = u
		}
	}
	return m
}()

// String is the unit's symbol, "" for None.
func (u Unit) String() string {
	if u >= numUnits {
		return fmt.Sprintf("unit(%d)", u)
	}
	return units[u].symbol
}

// Kind tells what the unit measures.
func (u Unit) Kind() Kind {
	if u >= numUnits {
		return Bare
	}
	return units[u].kind
}

// IsLength tells whether readings in the unit have a length in mm.
func (u Unit) IsLength() bool { return u.Kind() == Length }

// Exact is the unit's factor into its kind's own unit (mm, degree, N, N·m, kg,
// MPa) where it is a short decimal; ok is false otherwise.
func (u Unit) Exact() (f Decimal, ok bool) {
	f = units[u].factor
	return f, f.Coef != 0
}

// ParseUnit finds a unit by symbol or word. Case matters only where it must
// (mm and MM mean the same; m and M do not name anything twice).
func ParseUnit(s string) (Unit, error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return None, nil
	}
	if u, ok := byWord[s]; ok {
		return u, nil
	}
	low := strings.ToLower(s)
	if low == "n" {
		return N, nil
	}
	if u, ok := byWord[low]; ok {
		return u, nil
	}
	for w, u := range byWord {
		if strings.EqualFold(w, s) && u.Kind() != Stress {
			return u, nil
		}
	}
	return None, fmt.Errorf("unknown unit %q: use mm, um, in, thou, deg, N, lbf, kgf, N·m (or N*m), in*lbf, ft*lbf, g, kg, lb", s)
}

// MarshalText writes the symbol.
func (u Unit) MarshalText() ([]byte, error) { return []byte(u.String()), nil }

// UnmarshalText reads what ParseUnit reads.
func (u *Unit) UnmarshalText(b []byte) (err error) {
	*u, err = ParseUnit(string(b))
	return err
}

// Convert converts v between units of one kind. Converting to or from None, or
// between kinds, is an error.
func Convert(v float64, from, to Unit) (float64, error) {
	if from == to {
		return v, nil
	}
	if from.Kind() != to.Kind() || from.Kind() == Bare {
		return 0, fmt.Errorf("cannot convert %s to %s", orNone(from), orNone(to))
	}
	if from.Kind() == Temperature {
		return fromCelsius(toCelsius(v, from), to), nil
	}
	f, g := units[from], units[to]
	// A division by an exact inverse keeps 1 mm = 1000 um free of rounding.
	if f.factor.Coef != 0 && g.factor.Coef != 0 && f.factor.Scale > 0 && g.factor == dec("1") {
		return v * float64(f.factor.Coef) / pow10[f.factor.Scale], nil
	}
	return v * f.approx / g.approx, nil
}

func orNone(u Unit) string {
	if u == None {
		return "a number without a unit"
	}
	return u.String()
}

func toCelsius(v float64, u Unit) float64 {
	switch u {
	case DegF:
		return (v - 32) * 5 / 9
	case Kelvin:
		return v - 273.15
	}
	return v
}

func fromCelsius(v float64, u Unit) float64 {
	switch u {
	case DegF:
		return v*9/5 + 32
	case Kelvin:
		return v + 273.15
	}
	return v
}
