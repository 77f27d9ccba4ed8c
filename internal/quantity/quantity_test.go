package quantity

import (
	"encoding/csv"
	"math"
	"math/big"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestPublishedFactors checks the units against NIST SP 811 (source and how
// verified: in the file).
func TestPublishedFactors(t *testing.T) {
	f, err := os.Open("../../testdata/reference/units.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 26 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, r := range rows[1:] {
		in, also, _ := strings.Cut(r[2], "(")
		if also != "" { // the same in other words
			a, err1 := ParseQuantity(in)
			b, err2 := ParseQuantity(strings.TrimSuffix(also, ")"))
			if v, err := a.In(b.Unit); err1 != nil || err2 != nil || err != nil || v != b.Value.Float() {
				t.Errorf("%s: %v is not %v (%v, %v, %v)", r[2], a, b, err1, err2, err)
			}
		}
		out, _, _ := strings.Cut(r[3], "(")
		scale := 1.0
		if strings.HasSuffix(out, " nm") { // a unit nobody measures play in
			out, scale = strings.TrimSuffix(out, " nm")+" um", 1e-3
		}
		a, err1 := ParseQuantity(in)
		b, err2 := ParseQuantity(strings.TrimSpace(out))
		if err1 != nil || err2 != nil {
			t.Errorf("%s = %s: %v, %v", in, out, err1, err2)
			continue
		}
		got, err := a.In(b.Unit)
		// The printed values carry 13 digits or more.
		if want := b.Value.Float() * scale; err != nil || math.Abs(got/want-1) > 2e-13 {
			t.Errorf("%s is %v %s, published %v (%v)", in, got, b.Unit, want, err)
		}
	}
}

// TestWholeRatios: what a person knows by heart comes out without a stray digit.
func TestWholeRatios(t *testing.T) {
	for _, x := range []struct {
		in   string
		to   Unit
		want float64
	}{
		{"1 in", Thou, 1000}, {"1 mm", UM, 1000}, {"1.02 in", MM, 25.908}, {"2 thou", UM, 50.8}, {"0.0005 in", UM, 12.7}, {"25.4 mm", In, 1},
		{"1 ft", In, 12}, {"1 lb", Oz, 16}, {"1 lbf·ft", LbfIn, 12}, {"1 deg", Arcmin, 60}, {"180 deg", Rad, math.Pi}, {"1 kgf·m", KgfCM, 100},
		{"68 degF", DegC, 20}, {"20 °C", Kelvin, 293.15}, {"5/8 in", MM, 15.875}, {"1-1/4 in", MM, 31.75}, {"5 3/32 in", In, 5.09375}, {"1 GPa", MPa, 1000},
		{"1 in", Uin, 1e6}, {"-0.0005 in", MM, -0.0127},
	} {
		q, err := ParseQuantity(x.in)
		if err != nil {
			t.Errorf("%s: %v", x.in, err)
			continue
		}
		if got, err := q.In(x.to); got != x.want || err != nil {
			t.Errorf("%s is %v %s, expected %v (%v)", x.in, got, x.to, x.want, err)
		}
		if got, err := Convert(q.Value.Float(), q.Unit, x.to); math.Abs(got-x.want) > 4e-16*math.Abs(x.want) || err != nil {
			t.Errorf("Convert(%s) is %v %s, expected %v (%v)", x.in, got, x.to, x.want, err)
		}
	}
}

func anyDecimal() *rapid.Generator[Decimal] {
	return rapid.Custom(func(t *rapid.T) Decimal {
		return Decimal{Coef: rapid.Uint64Range(0, 999999999).Draw(t, "coef"), Scale: int8(rapid.IntRange(0, 9).Draw(t, "scale")), Neg: rapid.Bool().Draw(t, "neg")}
	})
}

// TestFloatIsNearest: what a gauge can send becomes the float64 that the standard
// library reads from the same text.
func TestFloatIsNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Decimal{Coef: rapid.Uint64Range(0, 999_999_999_999_999).Draw(t, "coef"), Scale: int8(rapid.IntRange(-7, 22).Draw(t, "scale")), Neg: rapid.Bool().Draw(t, "neg")}
		want, err := strconv.ParseFloat(d.String(), 64)
		if err != nil || d.Float() != want {
			t.Fatalf("%s is %v, expected %v (%v)", d, d.Float(), want, err)
		}
		if r, _ := d.Rat().Float64(); r != math.Abs(want)*sign(d) {
			t.Fatalf("%s is %v as a fraction, expected %v", d, r, want)
		}
	})
}

func sign(d Decimal) float64 {
	if d.Neg && d.Coef != 0 {
		return -1
	}
	return 1
}

func anyUnit() *rapid.Generator[Unit] {
	return rapid.Map(rapid.IntRange(int(None), int(numUnits)-1), func(i int) Unit { return Unit(i) })
}

// TestRoundTrips: whatever is printed is read as the same thing, places and sign
// of a zero included.
func TestRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, u := anyDecimal().Draw(t, "value"), anyUnit().Draw(t, "unit")
		if got, err := ParseDecimal(d.String()); got != d || err != nil {
			t.Fatalf("%v reads as %v, %v", d, got, err)
		}
		q := Quantity{d, u}
		if got, err := ParseQuantity(q.String()); got != q || err != nil {
			t.Fatalf("%v reads as %v, %v", q, got, err)
		}
		e := anyDecimal().Draw(t, "other")
		e.Neg = false
		m := Measured{q, e, true}
		if got, err := ParseMeasured(m.String()); got != m || err != nil {
			t.Fatalf("%v reads as %v, %v", m, got, err)
		}
		r := Range{Low: d, High: e, HasLow: true, HasHigh: rapid.Bool().Draw(t, "closed"), Unit: u}
		if !r.HasHigh {
			r.High = Decimal{}
		}
		if got, err := ParseRange(r.String()); (got != r || err != nil) && !(r.HasHigh && d.Rat().Cmp(e.Rat()) > 0) {
			t.Fatalf("%v reads as %v, %v", r, got, err)
		}
	})
}

// TestConvertThereAndBack: both ways gives the value again to the last bits.
func TestConvertThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from, to := anyUnit().Draw(t, "from"), anyUnit().Draw(t, "to")
		v := rapid.Float64Range(-1e4, 1e4).Draw(t, "v")
		there, err := Convert(v, from, to)
		if (err == nil) != (from == to || from != None && from.Kind() == to.Kind()) {
			t.Fatalf("%v to %v: %v", from, to, err)
		}
		if err != nil {
			return
		}
		back, _ := Convert(there, to, from)
		floor := 0.0
		if from.Kind() == Temperature {
			floor = 500 // an offset costs the digits of the larger number
		}
		// Below the smallest normal number, 2e-308, a float has no full set of digits.
		if math.Abs(back-v) > 1e-15*(2*math.Abs(v)+floor)+1e-300 {
			t.Fatalf("%v %v is %v %v is %v", v, from, there, to, back)
		}
	})
}

func TestRoundRatBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := big.NewRat(rapid.Int64Range(-1e9, 1e9).Draw(t, "num"), rapid.Int64Range(1, 1e6).Draw(t, "den"))
		places := rapid.IntRange(-3, 9).Draw(t, "places")
		unit := Decimal{Coef: 1, Scale: int8(places)}.Rat()
		get := func(how Rounding) *big.Rat {
			d, err := RoundRat(r, places, how)
			if err != nil {
				t.Fatal(err)
			}
			return d.Rat()
		}
		lo, mid, hi := get(Down), get(Nearest), get(Up)
		if lo.Cmp(r) > 0 || hi.Cmp(r) < 0 || mid.Cmp(lo) != 0 && mid.Cmp(hi) != 0 {
			t.Fatalf("%v to %d places: %v %v %v", r, places, lo, mid, hi)
		}
		w := new(big.Rat).Sub(hi, lo)
		if w.Sign() != 0 && w.Cmp(unit) != 0 {
			t.Fatalf("%v to %d places: %v..%v is not one digit wide", r, places, lo, hi)
		}
		d := new(big.Rat).Sub(mid, r)
		if d.Abs(d); d.Cmp(new(big.Rat).Mul(unit, big.NewRat(1, 2))) > 0 {
			t.Fatalf("%v to %d places: %v is not the nearest", r, places, mid)
		}
	})
	for in, want := range map[string]string{"0.5": "0", "1.5": "2", "2.5": "2", "-0.5": "0", "-1.5": "-2"} {
		d, err := RoundRat(dec(in).Rat(), 0, Nearest)
		if d.String() != want || err != nil {
			t.Errorf("%s rounds to %s (%v), expected the even %s", in, d, err, want)
		}
	}
}

func dec(s string) Decimal {
	d, err := ParseDecimal(s)
	if err != nil {
		panic(err)
	}
	return d
}

func TestSpellings(t *testing.T) {
	for in, want := range map[string]string{
		"0.031 ± 0.004 mm": "0.031 ± 0.004 mm", "0.031+/-0.004mm": "0.031 ± 0.004 mm", "0.031 mm ± 4 um": "0.031 ± 0.004 mm", "1.2547 in +- 0.2 thou": "1.2547 ± 0.0002 in",
		"30": "30", "1.2 N*m": "1.2 N·m", "11 in*lbf": "11 lbf·in", ".5 MM": "0.5 mm", "2 MIL": "2 thou", "−0.005 mm": "-0.005 mm", "0.05\u00a0mm": "0.05 mm", `0.02"`: "0.02 in",
	} {
		if m, err := ParseMeasured(in); err != nil || m.String() != want {
			t.Errorf("%q reads as %v (%v), expected %s", in, m, err, want)
		}
	}
	for in, want := range map[string]string{
		"0.009..0.050 mm": "0.009..0.050 mm", "..0.050 mm": "..0.050 mm", "0.009.. mm": "0.009.. mm", "0.009 mm .. 0.050 mm": "0.009..0.050 mm", "0.009 mm..": "0.009.. mm", "-0.1..0.2": "-0.1..0.2",
		"1 1/4..1 5/16 in": "1.25..1.3125 in", "0.009…0.050 mm": "0.009..0.050 mm",
	} {
		if r, err := ParseRange(in); err != nil || r.String() != want {
			t.Errorf("%q reads as %v (%v), expected %s", in, r, err, want)
		}
	}
}

func TestErrorsSayWhat(t *testing.T) {
	for in, want := range map[string]string{
		"": "expected a number", "abc": "expected a number", "1 furlong": "unknown unit", "1/3 in": "unknown unit", "12345678901234567890 mm": "quantity",
		"0,05 mm": "behind a point", ",05 mm": "behind a point", "1 ± -2 mm": "negative", "1 mm ± 2 N": "one unit",
	} {
		if _, err := ParseMeasured(in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, expected %q in it", in, err, want)
		}
	}
	for in, want := range map[string]string{
		"0.05 mm": "no '..'", "..": "both ends are open", "0.05..0.01 mm": "above the upper", "mm..0.05 mm": "no number", "1 mm..2 in": "different units", "1..x mm": "unknown unit",
	} {
		if _, err := ParseRange(in); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, expected %q in it", in, err, want)
		}
	}
}

// TestUnitWords: every word names its unit, in capitals too unless capitals name
// another unit (G, M), and always the same one.
func TestUnitWords(t *testing.T) {
	for u := None + 1; u < numUnits; u++ {
		for _, w := range append([]string{units[u].symbol}, units[u].words...) {
			if got, err := ParseUnit(w); got != u || err != nil {
				t.Errorf("%q is %v (%v), expected %v", w, got, err, u)
			}
			first, err := ParseUnit(strings.ToUpper(w))
			for i := 0; i < 20; i++ {
				if again, err2 := ParseUnit(strings.ToUpper(w)); again != first || (err == nil) != (err2 == nil) {
					t.Fatalf("%q is now %v, now %v", strings.ToUpper(w), first, again)
				}
			}
		}
	}
}

// FuzzParse: no input panics, and what is read prints as something that reads
// the same.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"0.050 mm", "-0.0000", "1e-3 in", "0.009..0.050 mm", "..5 um", "5.. thou", "0.031 ± 0.004 mm", "1 1/4 in", "1.2 N*m", "3 mm ± 4 um"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if m, err := ParseMeasured(s); err == nil {
			text := m.String()
			again, err := ParseMeasured(text)
			if err != nil && m.Value.Scale < 0 {
				return // 1e40 written out has more digits than are read
			}
			if err != nil || again.String() != text {
				t.Fatalf("%q reads as %q, which reads as %q (%v)", s, text, again, err)
			}
		}
		if r, err := ParseRange(s); err == nil {
			text := r.String()
			again, err := ParseRange(text)
			if err != nil && (r.Low.Scale < 0 || r.High.Scale < 0) {
				return
			}
			if err != nil || again.String() != text {
				t.Fatalf("%q reads as %q, which reads as %q (%v)", s, text, again, err)
			}
		}
	})
}
