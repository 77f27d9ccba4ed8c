package drivers

import "thouwright/internal/quantity"

// Steps finds each channel's step: the least change the gauge can show. It is
// the driver's own where one is declared; else what one last digit is worth,
// until the values seen prove a coarser one (a gauge that counts in halves of
// its last digit but one, or that always sends a dead 0 at the end).
//
// Proof is needed because the first values have any number of common divisors:
// a common step is believed only when enough different values, each of which
// would fit by chance once in k, have all fitted. Once one did not, the step
// falls back and stays: a step never grows again.
type Steps struct {
	declared bool
	by       map[stepKey]*stepOf
	last     *stepOf
	lastKey  stepKey
}

type stepKey struct {
	channel string
	unit    quantity.Unit
}

// proof is how many different values must agree.
const proof = 16

type stepOf struct {
	digit   quantity.Decimal // worth of the last digit, the finest seen
	gcd     uint64           // of the values in last digits; 1: the digit itself
	seen    [proof]uint64    // different values
	n       int
	settled bool
}

// NewSteps starts with nothing seen.
func NewSteps(d *Driver) *Steps {
	return &Steps{declared: d.Step.Coef != 0, by: map[stepKey]*stepOf{}}
}

// mostSteps bounds the channels told apart; a stream of garbage has many.
const mostSteps = 1024

// See takes a reading and returns its step as known so far, in its unit.
func (s *Steps) See(v *Value) quantity.Decimal {
	if !v.HasVal || s.declared || v.Step.Coef != 1 {
		return v.Step // declared, a fraction's or a scaled one
	}
	t := s.last
	if t == nil || s.lastKey.unit != v.Unit || s.lastKey.channel != string(v.Channel) {
		key := stepKey{string(v.Channel), v.Unit}
		if t = s.by[key]; t == nil {
			if len(s.by) >= mostSteps {
				return v.Step
			}
			t = &stepOf{digit: v.Step}
			s.by[key] = t
		}
		s.last, s.lastKey = t, key
	}
	return t.see(v)
}

func (t *stepOf) see(v *Value) quantity.Decimal {
	if t.settled && v.Value.Scale == t.digit.Scale {
		return t.digit
	}
	if v.Value.Scale != t.digit.Scale { // another number of places: start over
		*t = stepOf{digit: v.Step}
	}
	g := gcd(t.gcd, v.Value.Coef)
	if g == 1 {
		t.settled, t.gcd = true, 1
		return t.digit
	}
	t.gcd = g
	if t.n < proof {
		for _, c := range t.seen[:t.n] {
			if c == v.Value.Coef {
				return t.digit
			}
		}
		t.seen[t.n] = v.Value.Coef
		if t.n++; t.n < proof {
			return t.digit
		}
	}
	step := t.digit
	step.Coef = t.gcd
	return step
}

func gcd(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
