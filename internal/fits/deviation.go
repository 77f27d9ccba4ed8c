package fits

import (
	"fmt"
	"strconv"
	"strings"
)

// shaft is the fundamental deviation of a shaft in µm: the upper one (es) from
// a to h, the lower one (ei) from j to zc.
func (c Class) shaft(nominal float64) (um float64, isUpper bool, err error) {
	column := c.Letters
	switch column {
	case "a", "b":
		if nominal <= 1 {
			return 0, false, c.missing(nominal, "a and b are not used up to 1 mm")
		}
	case "j":
		switch c.Grade {
		case 5, 6:
			column = "j56"
		case 7, 8:
			column = c.String()
		default:
			return 0, false, c.missing(nominal, "j has the grades 5 to 8 only; js has all")
		}
	case "k":
		// Footnote: the tabulated value is for IT4 to IT7 only.
		if c.Grade < 4 || c.Grade > 7 {
			return 0, false, nil
		}
		column = "k_IT4_7"
	}
	um, ok := shafts.at(nominal, column)
	if !ok {
		return 0, false, c.missing(nominal, "")
	}
	return um, c.Letters[0] <= 'h', nil
}

// hole is the fundamental deviation of a hole in µm: the lower one (EI) from A
// to H, the upper one (ES) from J to ZC.
func (c Class) hole(nominal float64) (um float64, isUpper bool, err error) {
	l := c.Letters
	if l[0] <= 'H' {
		es, _, err := Class{strings.ToLower(l), c.Grade}.shaft(nominal)
		if err != nil {
			return 0, false, c.missing(nominal, reason(c, nominal))
		}
		return 0 - es, false, nil
	}
	if l == "J" {
		if c.Grade < 6 || c.Grade > 8 {
			return 0, false, c.missing(nominal, "J has the grades 6 to 8 only; JS has all")
		}
		es, ok := holes.at(nominal, c.String())
		if !ok {
			return 0, false, c.missing(nominal, "")
		}
		return es, true, nil
	}
	// K, M and N up to IT8 and P to ZC up to IT7 lie Delta higher than the
	// mirrored shaft, so that H7/p6 and P7/h6 give the same clearance.
	limit := 7
	column := l
	switch l {
	case "K", "M", "N":
		limit = 8
		column = l + "_base_to_IT8"
		if c.Grade > limit {
			column = l + "_above_IT8"
		}
	}
	if l == "K" && c.Grade > limit {
		if nominal > 3 {
			return 0, false, c.missing(nominal, "K coarser than IT8 exists up to 3 mm only")
		}
		return 0, true, nil
	}
	if l == "N" && c.Grade > limit && nominal <= 1 {
		return 0, false, c.missing(nominal, "N coarser than IT8 is not used up to 1 mm")
	}
	base, ok := holes.at(nominal, column)
	if !ok {
		return 0, false, c.missing(nominal, "")
	}
	if c.Grade > limit {
		return base, true, nil
	}
	if l == "M" && c.Grade == 6 && nominal > 250 && nominal <= 315 {
		return -9, true, nil // footnote: not -11
	}
	if c.Grade < 3 {
		return 0, false, c.missing(nominal, "K to ZC begin at IT3")
	}
	delta, _ := holes.at(nominal, "Delta_IT"+strconv.Itoa(c.Grade))
	return base + delta, true, nil
}

func reason(c Class, nominal float64) string {
	if (c.Letters == "A" || c.Letters == "B") && nominal <= 1 {
		return "A and B are not used up to 1 mm"
	}
	return ""
}

// missing is the error for a class the standard does not have at this size.
func (c Class) missing(nominal float64, why string) error {
	if why == "" {
		i, _ := shafts.row(nominal)
		why = fmt.Sprintf("nothing for %s from over %s to %s mm", c.Letters, trim(shafts.over[i]), trim(shafts.upto[i]))
	}
	return fmt.Errorf("ISO 286-1 has no %s at %s mm: %s", c, trim(nominal), why)
}
