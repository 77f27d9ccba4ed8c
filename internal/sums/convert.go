package sums

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"

	"thouwright/internal/quantity"
)

var convertSum = Sum{
	Verb:  "convert",
	Title: "Units",
	About: "A quantity, a range or a value with its ± from one unit to another. Inward rounding brings each limit into the tolerance, so that a part good by the rounded limits is good by the original ones; plain rounding may reach a little outside. Says how much tolerance was lost.",
	Fields: []Field{
		{Name: "what", Label: "what to convert", Kind: Text, Required: true, Positional: true, Example: "0.009..0.050 mm", Help: "A quantity, a range, or a value with its ±."},
		{Name: "to", Label: "unit wanted", Kind: Text, Example: "in", Help: "Without it: mm to in and back, N to lbf, N·m to lbf·in, °C to °F, MPa to psi, kg to lb, deg to rad."},
		{Name: "places", Label: "decimal places", Kind: Text, Example: "4", Help: "Without it: as fine as the tolerance needs (ISO 370) or as the number was given."},
		{Name: "inward", Label: "round each limit into the tolerance", Kind: Switch, Help: "ISO 370 method B, ASTM SI 10."},
	},
	Formula: "exact factors of NIST SP 811; rounding to nearest (ISO 370 method A), half to even",
	Source:  "NIST SP 811 (2008), Appendix B; ISO 370:1975; IEEE/ASTM SI 10",
	Examples: []string{
		"thouwright calc convert 0.009..0.050 mm --to in --places 4 --inward",
		"thouwright calc convert 31.87 mm --to in",
		"thouwright calc convert '1.950 ± 0.016 in' --to mm --inward",
		"thouwright calc convert 11 in*lbf --to N*m",
	},
	Picture: picture(convertDrawing),
	run:     runConvert,
}

// opposite is the unit a conversion goes to when none is named.
var opposite = map[quantity.Unit]quantity.Unit{
	quantity.MM: quantity.In, quantity.UM: quantity.Thou, quantity.CM: quantity.In, quantity.M: quantity.Ft,
	quantity.In: quantity.MM, quantity.Thou: quantity.UM, quantity.Ft: quantity.M, quantity.Uin: quantity.UM,
	quantity.N: quantity.Lbf, quantity.KN: quantity.Lbf, quantity.Lbf: quantity.N, quantity.Ozf: quantity.N, quantity.Kgf: quantity.N, quantity.Gf: quantity.N,
	quantity.NM: quantity.LbfIn, quantity.NCM: quantity.LbfIn, quantity.NMM: quantity.OzfIn, quantity.LbfIn: quantity.NM, quantity.LbfFt: quantity.NM, quantity.OzfIn: quantity.NMM, quantity.KgfCM: quantity.NM, quantity.KgfM: quantity.NM,
	quantity.DegC: quantity.DegF, quantity.DegF: quantity.DegC, quantity.Kelvin: quantity.DegC,
	quantity.MPa: quantity.Psi, quantity.GPa: quantity.Psi, quantity.Pa: quantity.Psi, quantity.Psi: quantity.MPa,
	quantity.Kg: quantity.Lb, quantity.G: quantity.Oz, quantity.Lb: quantity.Kg, quantity.Oz: quantity.G,
	quantity.Deg: quantity.Rad, quantity.Rad: quantity.Deg, quantity.Arcmin: quantity.Deg, quantity.Arcsec: quantity.Deg,
}

// exactIn is a quantity's value in a unit as a fraction. Temperatures are exact
// here too; only radians are not, and come as the nearest float64.
func exactIn(q quantity.Quantity, to quantity.Unit) (*big.Rat, error) {
	if r, ok := q.Rat(to); ok {
		return r, nil
	}
	if q.Unit.Kind() == quantity.Temperature && to.Kind() == quantity.Temperature {
		c := q.Value.Rat()
		switch q.Unit {
		case quantity.DegF:
			c.Mul(c.Sub(c, big.NewRat(32, 1)), big.NewRat(5, 9))
		case quantity.Kelvin:
			c.Sub(c, big.NewRat(27315, 100))
		}
		switch to {
		case quantity.DegF:
			c.Add(c.Mul(c, big.NewRat(9, 5)), big.NewRat(32, 1))
		case quantity.Kelvin:
			c.Add(c, big.NewRat(27315, 100))
		}
		return c, nil
	}
	f, err := q.In(to)
	if err != nil {
		return nil, err
	}
	return new(big.Rat).SetFloat64(f), nil
}

func runConvert(v *values) (*Answer, error) {
	text := v.text("what")
	var low, high, plus *quantity.Quantity
	var unit quantity.Unit
	if strings.Contains(text, "..") {
		r, err := quantity.ParseRange(text)
		if err != nil {
			return nil, err
		}
		unit = r.Unit
		if r.HasLow {
			low = &quantity.Quantity{Value: r.Low, Unit: r.Unit}
		}
		if r.HasHigh {
			high = &quantity.Quantity{Value: r.High, Unit: r.Unit}
		}
	} else {
		m, err := quantity.ParseMeasured(text)
		if err != nil {
			return nil, err
		}
		unit, low = m.Unit, &m.Quantity
		if m.HasU95 {
			plus = &quantity.Quantity{Value: m.U95, Unit: m.Unit}
		}
	}
	if unit == quantity.None {
		return nil, fmt.Errorf("%q has no unit: write it behind the number, as in 0.050 mm", text)
	}
	to, err := wanted(v, unit)
	if err != nil {
		return nil, err
	}
	a := &Answer{Unit: to}
	a.assume("the numbers are exact as written")
	c := &conversion{to: to, places: math.MinInt, inward: v.on("inward"), fraction: strings.Contains(text, "/")}
	if v.has("places") {
		if c.places, err = strconv.Atoi(v.text("places")); err != nil || c.places < 0 || c.places > 15 {
			return nil, fmt.Errorf("--places %s: expected a whole number from 0 to 15", v.text("places"))
		}
	}
	switch {
	case strings.Contains(text, ".."), plus != nil && c.inward:
		if plus != nil { // limits written as a middle and a tolerance
			if unit.Kind() == quantity.Temperature {
				return nil, fmt.Errorf("%q: write temperature limits as a range to round them inward", text)
			}
			mid, p := low.Value.Rat(), plus.Value.Rat()
			l, err1 := quantity.FromRat(new(big.Rat).Sub(mid, p))
			h, err2 := quantity.FromRat(new(big.Rat).Add(mid, p))
			if err1 != nil || err2 != nil {
				return nil, fmt.Errorf("%q has too many digits", text)
			}
			low, high = &quantity.Quantity{Value: l, Unit: unit}, &quantity.Quantity{Value: h, Unit: unit}
		}
		return a, c.limits(a, low, high)
	case c.inward:
		return nil, fmt.Errorf("--inward needs limits: a range such as 0.009..0.050 mm, or a value with its ±")
	}
	return a, c.single(a, *low, plus)
}

func wanted(v *values, from quantity.Unit) (quantity.Unit, error) {
	if !v.has("to") {
		to, ok := opposite[from]
		if !ok {
			return 0, fmt.Errorf("--to is missing: which unit?")
		}
		return to, nil
	}
	to, err := quantity.ParseUnit(v.text("to"))
	if err != nil {
		return 0, fmt.Errorf("--to: %w", err)
	}
	if to.Kind() != from.Kind() {
		return 0, fmt.Errorf("cannot convert %s to %s: they measure different things", from, to)
	}
	return to, nil
}

type conversion struct {
	to     quantity.Unit
	places int // math.MinInt where not asked
	inward bool
	// 1/2 in is a size as exact as any, and not one known to a tenth of an inch.
	fraction bool
}

// finest is how many places keep what one last digit of the original is worth.
func (c *conversion) finest(q quantity.Quantity) int {
	scale := q.Value.Scale
	if c.fraction {
		scale = max(scale, 3)
	}
	digit := quantity.Decimal{Coef: 1, Scale: scale}
	one, err := quantity.Convert(1, q.Unit, c.to)
	if q.Unit.Kind() == quantity.Temperature {
		one, err = 1, nil
	}
	if err != nil || one == 0 {
		return int(q.Value.Scale)
	}
	return placesFor(math.Abs(one) * digit.Float())
}

// placesFor is the number of places whose last digit is worth size or less. A
// hair above a power of ten counts as that power.
func placesFor(size float64) int { return min(max(0, -int(math.Floor(math.Log10(size)+1e-9))), 15) }

// single converts one value, and its ± to the same places, upwards.
func (c *conversion) single(a *Answer, q quantity.Quantity, plus *quantity.Quantity) error {
	r, err := exactIn(q, c.to)
	if err != nil {
		return err
	}
	if c.places == math.MinInt {
		c.places = c.finest(q)
	}
	d, err := quantity.RoundRat(r, c.places, quantity.Nearest)
	if err != nil {
		return fmt.Errorf("%s in %s to %d places: %w", q, c.to, c.places, err)
	}
	res := Result{Name: "text", Label: "rounded", Form: Word, Text: d.String() + " " + c.to.String()}
	if plus != nil {
		p, err := exactIn(*plus, c.to)
		if q.Unit.Kind() == quantity.Temperature {
			p, err = temperatureStep(plus.Value, q.Unit, c.to), nil
		}
		if err != nil {
			return err
		}
		// What the value moved by in rounding is in its ± too.
		moved := new(big.Rat).Sub(d.Rat(), r)
		u, err := quantity.RoundRat(p.Add(p, moved.Abs(moved)), c.places, quantity.Up)
		if err != nil {
			return err
		}
		res.Text = d.String() + " ± " + u.String() + " " + c.to.String()
		a.quiet("plus_minus", u, c.to)
		a.assume("the ± is rounded up")
	}
	a.quiet("value", d, c.to)
	a.add(res)
	a.unrounded("value", "unrounded", r, c.to)
	return nil
}

func temperatureStep(d quantity.Decimal, from, to quantity.Unit) *big.Rat {
	r := d.Rat()
	if from == quantity.DegF {
		r.Mul(r, big.NewRat(5, 9))
	}
	if to == quantity.DegF {
		r.Mul(r, big.NewRat(9, 5))
	}
	return r
}

// limits converts a range; either end may be open.
func (c *conversion) limits(a *Answer, low, high *quantity.Quantity) error {
	conv := func(q *quantity.Quantity) (*big.Rat, error) {
		if q == nil {
			return nil, nil
		}
		return exactIn(*q, c.to)
	}
	lo, err := conv(low)
	if err != nil {
		return err
	}
	hi, err := conv(high)
	if err != nil {
		return err
	}
	if c.places == math.MinInt {
		c.places = c.forLimits(low, high, lo, hi)
	}
	downHow, upHow := quantity.Nearest, quantity.Nearest
	if c.inward {
		a.Formula = "exact factors of NIST SP 811; each limit rounded into the tolerance (ISO 370 method B, ASTM SI 10)"
		downHow, upHow = quantity.Up, quantity.Down
	}
	text, outside := "", new(big.Rat)
	var dl, dh quantity.Decimal
	if lo != nil {
		if dl, err = quantity.RoundRat(lo, c.places, downHow); err != nil {
			return err
		}
		text = dl.String()
		a.quiet("low", dl, c.to)
		if d := new(big.Rat).Sub(lo, dl.Rat()); d.Cmp(outside) > 0 {
			outside = d
		}
	}
	text += ".."
	if hi != nil {
		if dh, err = quantity.RoundRat(hi, c.places, upHow); err != nil {
			return err
		}
		text += dh.String()
		a.quiet("high", dh, c.to)
		if d := new(big.Rat).Sub(dh.Rat(), hi); d.Cmp(outside) > 0 {
			outside = d
		}
	}
	text += " " + c.to.String()
	if lo != nil && hi != nil {
		if dl.Rat().Cmp(dh.Rat()) > 0 {
			return fmt.Errorf("to %d places no value in %s is left between the limits: use --places %d", c.places, c.to, c.places+1)
		}
		before := new(big.Rat).Sub(hi, lo)
		lost := new(big.Rat).Sub(before, new(big.Rat).Sub(dh.Rat(), dl.Rat()))
		a.word("text", "rounded", text)
		if err := a.loss(lost, before, c.places, c.to); err != nil {
			return err
		}
	} else {
		a.word("text", "rounded", text)
		moved := new(big.Rat)
		if lo != nil {
			moved.Sub(dl.Rat(), lo)
		} else if hi != nil {
			moved.Sub(hi, dh.Rat())
		}
		d, err := quantity.RoundRat(moved, c.places+3, quantity.Nearest)
		if err != nil {
			return err
		}
		a.add(Result{Name: "moved", Label: "the limit moved inwards by (below zero: outwards)", Unit: c.to, Value: d.Float(), Exact: &d, settled: true})
	}
	if outside.Sign() > 0 {
		f, _ := outside.Float64()
		a.note(fmt.Sprintf("a rounded limit reaches up to %s %s outside the original: --inward keeps inside", strconv.FormatFloat(f, 'g', 3, 64), c.to))
	}
	if lo != nil {
		a.unrounded("low", "lower limit unrounded", lo, c.to)
	}
	if hi != nil {
		a.unrounded("high", "upper limit unrounded", hi, c.to)
	}
	return nil
}

// forLimits is the fineness ISO 370 gives to a tolerance: the limits then move
// by at most 2 % of it. Its table goes by the tolerance in inches; other pairs
// of units follow the same 2 %.
func (c *conversion) forLimits(low, high *quantity.Quantity, lo, hi *big.Rat) int {
	if low == nil || high == nil {
		if low == nil {
			low = high
		}
		return c.finest(*low)
	}
	t, _ := new(big.Rat).Sub(hi, lo).Float64()
	if t <= 0 {
		return max(c.finest(*low), c.finest(*high))
	}
	if (low.Unit == quantity.In || low.Unit == quantity.Thou) && c.to == quantity.MM {
		// 0.001 in and more, below 0.01 in: to 0.001 mm, and so on.
		return placesFor(t / 25.4)
	}
	return placesFor(t * 0.04)
}

// quiet is a number for scripts, with just the digits it was rounded to.
func (a *Answer) quiet(name string, d quantity.Decimal, u quantity.Unit) {
	a.add(Result{Name: name, Label: name, Unit: u, Value: d.Float(), Exact: &d, Quiet: true, settled: true})
}

// unrounded shows a value before rounding: exactly where a decimal can, else to
// nine places, and ten digits at least.
func (a *Answer) unrounded(name, label string, r *big.Rat, u quantity.Unit) {
	f, _ := r.Float64()
	d, err := quantity.FromRat(r)
	if err != nil {
		places := 9
		if f != 0 {
			places = min(max(places, 9-int(math.Floor(math.Log10(math.Abs(f))))), 18)
		}
		if d, err = quantity.RoundRat(r, places, quantity.Nearest); err != nil {
			return // more digits than fit; the rounded value stands above
		}
	}
	a.add(Result{Name: name + "_unrounded", Label: label, Unit: u, Value: f, Exact: &d, settled: true})
}

// loss is how much of the tolerance the rounding took; below zero it gave.
func (a *Answer) loss(lost, before *big.Rat, places int, u quantity.Unit) error {
	d, err := quantity.RoundRat(lost, places+3, quantity.Nearest)
	if err != nil {
		return err
	}
	share := 0.0
	if before.Sign() != 0 {
		share, _ = new(big.Rat).Quo(new(big.Rat).Mul(lost, big.NewRat(100, 1)), before).Float64()
	}
	label := "tolerance lost"
	if d.Neg {
		label = "tolerance lost (below zero: the rounded limits are wider)"
	}
	a.add(Result{Name: "lost", Label: label, Unit: u, Value: d.Float(), Exact: &d, settled: true})
	a.add(Result{Name: "lost_percent", Label: "that is, in per cent of the tolerance", Value: share, settled: true})
	return nil
}
