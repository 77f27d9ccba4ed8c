package quantity

import (
	"fmt"
	"math"
	"math/big"
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
	Uin // microinch
	numUnits
)

// unitDef is one unit. size is what one of it is in its kind's own unit, as a
// product or quotient of exact decimals; "" where it has an offset or is not
// rational.
type unitDef struct {
	symbol string
	kind   Kind
	size   string
	words  []string
}

// Sizes: NIST SP 811 (2008), Appendix B; 1 in = 25.4 mm, 1 lb = 0.45359237 kg
// and standard gravity 9.80665 m/s2 exactly, the others follow from these.
var units = [numUnits]unitDef{
	None:   {"", Bare, "1", nil},
	MM:     {"mm", Length, "1", []string{"millimeter", "millimetre", "millimeters", "millimetres"}},
	UM:     {"um", Length, "0.001", []string{"µm", "μm", "micron", "microns"}},
	CM:     {"cm", Length, "10", nil},
	M:      {"m", Length, "1000", nil},
	In:     {"in", Length, "25.4", []string{"inch", "inches", `"`}},
	Thou:   {"thou", Length, "0.0254", []string{"mil", "mils"}},
	Ft:     {"ft", Length, "304.8", []string{"foot", "feet"}},
	Deg:    {"deg", Angle, "1", []string{"°", "degree", "degrees"}},
	Rad:    {"rad", Angle, "", nil},
	Arcmin: {"arcmin", Angle, "1/60", []string{"'", "′"}},
	Arcsec: {"arcsec", Angle, "1/3600", []string{"″"}},
	N:      {"N", Force, "1", []string{"newton", "newtons"}},
	KN:     {"kN", Force, "1000", nil},
	Lbf:    {"lbf", Force, "0.45359237*9.80665", nil},
	Ozf:    {"ozf", Force, "0.45359237*9.80665/16", nil},
	Kgf:    {"kgf", Force, "9.80665", nil},
	Gf:     {"gf", Force, "0.00980665", nil},
	NM:     {"N·m", Torque, "1", []string{"N*m", "Nm", "N.m", "N-m"}},
	NCM:    {"N·cm", Torque, "0.01", []string{"N*cm", "Ncm", "N.cm", "N-cm"}},
	NMM:    {"N·mm", Torque, "0.001", []string{"N*mm", "Nmm", "N.mm", "N-mm"}},
	LbfIn:  {"lbf·in", Torque, "0.45359237*9.80665*0.0254", []string{"lbf*in", "in*lbf", "in·lbf", "lbf.in", "lbfin", "in.lbf", "inlbf", "in-lbf", "lbf-in", "in-lb", "inlb", "in.lb", "lb-in", "lb.in"}},
	LbfFt:  {"lbf·ft", Torque, "0.45359237*9.80665*0.3048", []string{"lbf*ft", "ft*lbf", "ft·lbf", "lbf.ft", "lbfft", "ft.lbf", "ftlbf", "ft-lbf", "lbf-ft", "ft-lb", "ftlb", "ft.lb", "lb-ft", "lb.ft"}},
	OzfIn:  {"ozf·in", Torque, "0.45359237*9.80665*0.0254/16", []string{"ozf*in", "in*ozf", "in·ozf", "ozf.in", "ozfin", "in.ozf", "inozf", "in-ozf", "ozf-in", "in-oz", "inoz", "oz-in", "oz.in", "ozin"}},
	KgfCM:  {"kgf·cm", Torque, "0.0980665", []string{"kgf*cm", "kgf.cm", "kgfcm", "kgf-cm"}},
	KgfM:   {"kgf·m", Torque, "9.80665", []string{"kgf*m", "kgf.m", "kgfm", "kgf-m"}},
	G:      {"g", Mass, "0.001", []string{"gram", "grams"}},
	Kg:     {"kg", Mass, "1", nil},
	Lb:     {"lb", Mass, "0.45359237", []string{"lbs"}},
	Oz:     {"oz", Mass, "0.45359237/16", nil},
	DegC:   {"°C", Temperature, "", []string{"C", "degC"}},
	DegF:   {"°F", Temperature, "", []string{"F", "degF"}},
	Kelvin: {"K", Temperature, "", nil},
	Pa:     {"Pa", Stress, "0.000001", nil},
	MPa:    {"MPa", Stress, "1", []string{"N/mm2", "N/mm²"}},
	GPa:    {"GPa", Stress, "1000", nil},
	Psi:    {"psi", Stress, "0.45359237*9.80665/0.0254/0.0254/1000000", nil},
	Uin:    {"uin", Length, "0.0000254", []string{"µin", "μin", "microinch", "microinches"}},
}

// sizes are the units' exact sizes, nil where there is none.
var sizes = func() (r [numUnits]*big.Rat) {
	for u := range units {
		if s := units[u].size; s != "" {
			r[u] = product(s)
		}
	}
	return r
}()

// product reads "a*b/c" of decimals. The text is this file's own, so a wrong one
// panics at start, in every test.
func product(s string) *big.Rat {
	r := big.NewRat(1, 1)
	over := false
	for s != "" {
		i := strings.IndexAny(s, "*/")
		word, next := s, byte(0)
		if i >= 0 {
			word, next, s = s[:i], s[i], s[i+1:]
		} else {
			s = ""
		}
		d, err := ParseDecimal(word)
		if err != nil {
			panic(err)
		}
		if over {
			r.Quo(r, d.Rat())
		} else {
			r.Mul(r, d.Rat())
		}
		over = next == '/'
	}
	return r
}

// factors hold size as a short decimal where it is one.
var factors = func() (d [numUnits]Decimal) {
	for u := range units {
		if f, err := ParseDecimal(units[u].size); err == nil {
			d[u] = f
		}
	}
	// These products are short too.
	d[Lbf], _ = ParseDecimal("4.4482216152605")
	d[Ozf], _ = ParseDecimal("0.27801385095378125")
	return d
}()

// ratio is size(from)/size(to) as two float64: exact for nearly all pairs, so
// that 1 in is 1000 thou and 1 mm is 1000 um with no rounding at all.
type ratio struct{ num, den float64 }

var ratios = func() (t [numUnits][numUnits]ratio) {
	for from := None + 1; from < numUnits; from++ {
		for to := None + 1; to < numUnits; to++ {
			if from.Kind() != to.Kind() || sizes[from] == nil || sizes[to] == nil {
				continue
			}
			q := new(big.Rat).Quo(sizes[from], sizes[to])
			n, _ := new(big.Float).SetInt(q.Num()).Float64()
			d, _ := new(big.Float).SetInt(q.Denom()).Float64()
			t[from][to] = ratio{n, d}
		}
	}
	return t
}()

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
	f = factors[u]
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
	return None, fmt.Errorf("unknown unit %q: use mm, um, in, thou, deg, N, lbf, kgf, N·m (or N*m), in*lbf, ft*lbf, g, kg, lb, degC, MPa", s)
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
	if r := ratios[from][to]; r.den != 0 {
		return v * r.num / r.den, nil
	}
	return fromDegrees(toDegrees(v, from), to), nil // radians
}

func toDegrees(v float64, u Unit) float64 {
	if u == Rad {
		return v * 180 / math.Pi
	}
	r := ratios[u][Deg]
	return v * r.num / r.den
}

func fromDegrees(v float64, u Unit) float64 {
	if u == Rad {
		return v * math.Pi / 180
	}
	r := ratios[Deg][u]
	return v * r.num / r.den
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

// Units lists every unit but None.
func Units() []Unit {
	all := make([]Unit, 0, numUnits-1)
	for u := None + 1; u < numUnits; u++ {
		all = append(all, u)
	}
	return all
}

// Words lists the ways a unit is written: its symbol first.
func (u Unit) Words() []string {
	if u == None || u >= numUnits {
		return nil
	}
	return append([]string{units[u].symbol}, units[u].words...)
}
