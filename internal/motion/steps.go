package motion

import "math"

// Steps learns a gauge's step, the greatest common step of the values seen, as
// a multiple of the last digit. It looks at the changes from one reading to
// the next, so an offset (a preset, a zero that was set) does not matter. Each
// distinct change counts once: the same two codes over and over teach nothing.
type Steps struct {
	last    float64 // the reading before …
	odd     float64 // … the latest one, which may be wild
	wild    float64 // the latest reading that was taken for wild
	started bool
	changes [changeSlots]int32 // distinct changes, an open hash table; 0 is free
	count   int
	bad     [len(ratios)]int32 // distinct changes that a ratio does not explain
	ratio   float64
	most    float64
}

const (
	changeSlots = 512
	changeMost  = 300
)

// ratios are the steps that gauges have, in last digits: 1-2-5 steps, inch steps
// shown in millimetres (12.7 and 25.4 and their decades), and millimetre steps
// shown in inches (0.01 mm is 39.37 hundred-thousandths). Where the ratio is not
// whole the gauge rounds, and each change may be one digit off.
var ratios = [...]float64{500, 393.7008, 254, 250, 200, 127, 100, 78.74016, 63.5, 50, 39.37008, 25.4, 25, 20, 19.68504, 12.7, 10, 7.874016, 5, 4, 2}

// Reading takes one value and what its last digit is worth, in any one unit. A
// change counts once the next reading has not taken it back: a wild reading
// makes two changes of any size, and a few of them would refute any step. The
// same wild reading twice is none.
func (s *Steps) Reading(value, digit float64) {
	if !s.started {
		s.started, s.last, s.odd, s.wild = true, value, value, math.NaN()
		return
	}
	if s.count >= changeMost || digit <= 0 {
		return
	}
	before, odd := s.last, s.odd
	s.last, s.odd = odd, value
	if odd == before {
		return
	}
	if there, back := math.Abs(odd-before), math.Abs(value-before); there > 20*digit && back < there/8 && odd != s.wild {
		s.last, s.wild = before, odd
		return
	}
	c := math.Round(math.Abs(odd-before) / digit)
	if c == 0 || c > math.MaxInt32 {
		return
	}
	s.change(int32(c))
}

func (s *Steps) change(c int32) {
	h := uint32(c) * 2654435761 >> 23
	for s.changes[h] != 0 {
		if s.changes[h] == c {
			return
		}
		h = (h + 1) % changeSlots
	}
	s.changes[h] = c
	s.count++
	for i, r := range ratios {
		k := math.Round(float64(c) / r)
		tolerance := 0.01
		if r != math.Trunc(r) {
			tolerance = 1.01
		}
		if k == 0 || math.Abs(float64(c)-k*r) > tolerance {
			s.bad[i]++
		}
	}
	s.ratio, s.most = 0, 0
	for i, r := range ratios {
		if s.most == 0 && s.possible(i, r) {
			s.most = r
		}
		if s.explains(i, r) {
			s.ratio, s.most = r, r
			break
		}
	}
}

// explains asks for so many distinct changes that the odds for the ratio, which begin
// at how many gauges have it, come to a hundred to one, some excepted: wild readings
// make changes of any size. (A hand that rocks alike makes hardly more than half a dozen
// distinct ones.)
func (s *Steps) explains(i int, r float64) bool {
	by, share := r, 4
	if r != math.Trunc(r) {
		by = r / 3
	}
	if by < 5 {
		share = 10
	}
	return s.count >= 4 && int(s.bad[i])*share <= s.count && rare(r)*math.Pow(by, float64(s.count-int(s.bad[i]))) >= sureOdds
}

// sureOdds are those from which on a step is taken for learnt.
const sureOdds = 100

// possible tells whether what was seen speaks against the ratio: of the changes
// of a finer step most do, of its own only those to and from a wild reading. A
// change or two fall on many a grid by chance, the more the finer it is, so that
// rare steps must be as likely as that before they are feared.
func (s *Steps) possible(i int, r float64) bool {
	by := r
	if r != math.Trunc(r) {
		by = r / 3
	}
	finer := 1 - 1/by // part of a finer step's changes that the ratio does not explain
	if float64(s.bad[i]) > finer/2*float64(s.count) {
		return false
	}
	return rare(r)*math.Pow(by, float64(s.count-int(s.bad[i]))) >= feared
}

// feared: a step is reckoned with from odds of one in twenty on.
const feared = 0.05

// rare is how many gauges have a step of so many last digits for each that steps by
// the last digit itself (common practice, no source): halves and tens are usual,
// inches in millimetres and the other way round are not.
func rare(r float64) float64 {
	switch r {
	case 5:
		return 0.2
	case 2, 10:
		return 0.1
	case 20, 50, 100, 200, 500:
		return 0.03
	case 12.7, 25.4, 127, 254, 19.68504, 39.37008:
		return 0.015
	}
	return 0.005
}

// Ratio is the step in last digits: 1 until a coarser one is certain.
func (s *Steps) Ratio() float64 {
	if s.ratio == 0 {
		return 1
	}
	return s.ratio
}

// Most is the largest the step may still be: Ratio, but until that is certain
// the largest that next to nothing speaks against. Two codes that come back
// exactly must not count as rests that agree to the last digit.
func (s *Steps) Most() float64 { return max(s.most, 1) }
