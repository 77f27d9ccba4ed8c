package config

import (
	"fmt"
	"strings"
	"time"

	"thouwright/internal/quantity"
)

// UnmarshalText reads "0.0002 in over 0.010 in".
func (e *LocalError) UnmarshalText(b []byte) error {
	s := string(b)
	bad := func(why string) error {
		return fmt.Errorf("%q: %s; expected an error and the movement it holds for, such as 0.0002 in over 0.010 in", s, why)
	}
	first, second, ok := strings.Cut(s, " over ")
	if !ok {
		return bad("no 'over' in it")
	}
	var err error
	if e.Error, err = quantity.ParseQuantity(first); err != nil {
		return bad(err.Error())
	}
	if e.Over, err = quantity.ParseQuantity(second); err != nil {
		return bad(err.Error())
	}
	return nil
}

// MarshalText writes what UnmarshalText reads.
func (e LocalError) MarshalText() ([]byte, error) { return []byte(e.String()), nil }

// String writes "0.0002 in over 0.010 in".
func (e LocalError) String() string { return e.Error.String() + " over " + e.Over.String() }

// FormExample is shown where something else than text was found.
func (e *LocalError) FormExample() string { return `"0.0002 in over 0.010 in"` }

// UnmarshalText reads 2027-03-01.
func (d *Date) UnmarshalText(b []byte) error {
	t, err := time.ParseInLocation("2006-01-02", string(b), time.UTC)
	if err != nil {
		return fmt.Errorf("found %q, expected a date as year-month-day: 2027-03-01", b)
	}
	d.Time = t
	return nil
}

// MarshalText writes 2027-03-01, or nothing for no date.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// String writes 2027-03-01, or nothing for no date.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return d.Format("2006-01-02")
}

// FormExample is shown where something else than a date was found.
func (d *Date) FormExample() string { return "2027-03-01" }

// Past tells whether the whole of the date lies before now.
func (d Date) Past(now time.Time) bool {
	y, m, day := now.Date()
	return !d.IsZero() && d.Before(time.Date(y, m, day, 0, 0, 0, 0, time.UTC))
}

// maxAngle is the most a plunger or movement may be off the surface normal;
// beyond it nobody measures.
const maxAngle = 60

// ParseAngle reads an angle that is known, "3 deg", or only bounded, "..3 deg";
// both in degrees, the other one 0. No text is 0 and 0.
func ParseAngle(s string) (known, bound float64, err error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return 0, 0, nil
	}
	text, bounded := strings.CutPrefix(s, "..")
	q, err := quantity.ParseQuantity(text)
	if err != nil || q.Unit.Kind() != quantity.Angle {
		return 0, 0, fmt.Errorf("found %q, expected an angle that is known, 3 deg, or only bounded, ..3 deg", s)
	}
	v, err := q.In(quantity.Deg)
	if err != nil {
		return 0, 0, err
	}
	if v < 0 {
		v = -v
	}
	if v > maxAngle {
		return 0, 0, fmt.Errorf("found %q: an angle over %d deg can't be corrected for; set the gauge nearer to the surface normal", s, maxAngle)
	}
	if bounded {
		return 0, v, nil
	}
	return v, 0, nil
}
