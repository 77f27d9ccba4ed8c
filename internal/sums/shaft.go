package sums

import (
	"regexp"
	"slices"
	"strings"
	"unicode"

	"thouwright/internal/fits"
	"thouwright/internal/ledger"
)

// minus finds hole and shaft in a derived clearance.
var minus = regexp.MustCompile(`^\s*(\w+)\["([^"]*)"\]\s*-\s*(\w+)\["([^"]*)"\]\s*$`)

// Words that name a hole or a shaft in the trade; a check that holds both ("pin
// bush bore") is the hole.
var (
	holeWords  = []string{"bush", "bushe", "bore", "housing", "hole", "hub", "sleeve"}
	shaftWords = []string{"shaft", "pin", "spindle", "journal", "stub", "trunnion", "kingpin", "axle", "pivot", "sector"}
)

// isShaft tells whether a size check measures the shaft of its component: by its
// fit, by the derived clearance that takes it away from a bore, by its gauging,
// else by its name.
func (s suggester) isShaft(c Check) bool {
	if c.Method != "size" {
		return false
	}
	if f, err := fits.Parse(c.Fit); err == nil {
		return !f.Shaft.IsZero()
	}
	for _, d := range s.checks {
		if m := minus.FindStringSubmatch(d.Value); m != nil && d.Component == c.Component && c.ID != "" {
			if m[3] == c.ID {
				return true
			}
			if m[1] == c.ID {
				return false
			}
		}
	}
	if c.Turning == "least" || c.Turning == "most" {
		return false
	}
	name := strings.FieldsFunc(strings.ToLower(c.Name+" "+c.ID), func(r rune) bool { return !unicode.IsLetter(r) })
	has := func(words []string) bool {
		return slices.ContainsFunc(name, func(w string) bool { return slices.Contains(words, strings.TrimSuffix(w, "s")) })
	}
	return has(shaftWords) && !has(holeWords)
}

// shafts are the latest sizes of the component's shaft: those at the failed
// take's position where names agree, else all of them.
func (s suggester) shafts(t *ledger.Take, c Check) (at []*ledger.Take, known bool) {
	var all []*ledger.Take
	want := strings.ToLower(t.Tag.Position)
	id := ""
	if m := minus.FindStringSubmatch(c.Value); m != nil {
		id, want = m[3], strings.ToLower(m[4])
	}
	for _, x := range s.latest {
		k, ok := s.check(x)
		if !ok || k.Component != c.Component || !s.isShaft(k) || x.Distrusted() != "" || id != "" && k.ID != id {
			continue
		}
		all = append(all, x)
		if p := strings.ToLower(x.Tag.Position); p != "" && want != "" && (strings.Contains(p, want) || strings.Contains(want, p)) {
			at = append(at, x)
		}
	}
	if len(at) == 0 {
		at = all
	}
	return at, slices.ContainsFunc(s.checks, func(k Check) bool { return k.Component == c.Component && s.isShaft(k) })
}
