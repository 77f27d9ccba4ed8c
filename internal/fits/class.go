// Package fits turns fit designations such as "32 H7/g6" into limits of size,
// and limits back into designations, after ISO 286-1:2010 up to 500 mm. It is
// pure.
package fits

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// MaxSize is the largest nominal size the tables hold, in mm.
const MaxSize = 500

// Class is a tolerance class: where the tolerance lies (letters) and how wide
// it is (grade). The zero Class is none.
type Class struct {
	Letters string // as written: upper case for a hole, lower case for a shaft
	Grade   int    // 1 to 18, the n of ITn
}

// IsZero tells whether no class is set.
func (c Class) IsZero() bool { return c.Letters == "" }

// IsHole tells a hole (upper case) from a shaft (lower case).
func (c Class) IsHole() bool { return c.Letters != "" && c.Letters[0] < 'a' }

// String writes "H7"; "" for the zero Class.
func (c Class) String() string {
	if c.IsZero() {
		return ""
	}
	return c.Letters + strconv.Itoa(c.Grade)
}

// letters are the positions ISO 286-1 has, for holes; shafts use lower case.
var letters = []string{"A", "B", "C", "CD", "D", "E", "EF", "F", "FG", "G", "H", "J", "JS", "K", "M", "N", "P", "R", "S", "T", "U", "V", "X", "Y", "Z", "ZA", "ZB", "ZC"}

// ParseClass reads "H7", "g6", "js5". The first letter's case says hole or
// shaft.
func ParseClass(s string) (Class, error) {
	s = strings.TrimSpace(s)
	i := strings.IndexAny(s, "0123456789")
	if i <= 0 {
		return Class{}, fmt.Errorf("%q is no tolerance class: expected letters and a grade, such as H7 for a hole or g6 for a shaft", s)
	}
	word, digits := s[:i], s[i:]
	hole := word[0] >= 'A' && word[0] <= 'Z'
	up := strings.ToUpper(word)
	known := false
	for _, l := range letters {
		known = known || l == up
	}
	if !known {
		return Class{}, fmt.Errorf("%q is no tolerance class: ISO 286 has no position %q (A to ZC for holes, a to zc for shafts; no I, L, O, Q, W)", s, word)
	}
	if digits == "0" || digits == "01" {
		return Class{}, fmt.Errorf("%q: grades IT01 and IT0 are not in this program's tables: use IT1 to IT18", s)
	}
	n, err := strconv.Atoi(digits)
	if err != nil || n < 1 || n > 18 || digits[0] == '0' {
		return Class{}, fmt.Errorf("%q: the grade is a number from 1 to 18, not %q", s, digits)
	}
	if !hole {
		up = strings.ToLower(up)
	}
	return Class{up, n}, nil
}

// Tolerance is the width ITn in µm at a nominal size in mm (ISO 286-1, Table 1).
func Tolerance(nominal float64, grade int) (um float64, err error) {
	if err := checkSize(nominal); err != nil {
		return 0, err
	}
	if grade < 1 || grade > 18 {
		return 0, fmt.Errorf("there is no grade IT%d in this program's tables: use IT1 to IT18", grade)
	}
	if grade >= 14 && nominal <= 1 {
		return 0, fmt.Errorf("ISO 286-1 has no grade IT%d up to 1 mm", grade)
	}
	um, _ = grades.at(nominal, "IT"+strconv.Itoa(grade))
	return um, nil
}

func checkSize(nominal float64) error {
	if !(nominal > 0) || nominal > MaxSize {
		return fmt.Errorf("nominal size %s mm is outside the tables of ISO 286-1 (above 0, up to %d mm)", trim(nominal), MaxSize)
	}
	return nil
}

// Deviations are the class's lower and upper limit deviations in µm at a
// nominal size in mm (ISO 286-1, Tables 2 to 5 with their footnotes).
func (c Class) Deviations(nominal float64) (lower, upper float64, err error) {
	it, err := Tolerance(nominal, c.Grade)
	if err != nil {
		return 0, 0, fmt.Errorf("%s: %w", c, err)
	}
	if strings.EqualFold(c.Letters, "js") {
		return -it / 2, it / 2, nil
	}
	fundamental := c.shaft
	if c.IsHole() {
		fundamental = c.hole
	}
	d, isUpper, err := fundamental(nominal)
	switch {
	case err != nil:
		return 0, 0, err
	case isUpper:
		return d - it, d, nil
	}
	return d, d + it, nil
}

// Limits are the class's limits of size in mm.
func (c Class) Limits(nominal float64) (low, high float64, err error) {
	lo, up, err := c.Deviations(nominal)
	if err != nil {
		return 0, 0, err
	}
	return sum(nominal, lo), sum(nominal, up), nil
}

// sum adds a deviation in µm to a size in mm, rounded to 0.1 nm so that
// 32 mm + 25 µm is the float64 nearest to 32.025.
func sum(nominal, um float64) float64 { return math.Round(nominal*1e7+um*1e4) / 1e7 }

func trim(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
