package record

import (
	"slices"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/sfnt"
)

// boxes tells whether the typeface of the PDF lacks a character of a text, which
// then stands there as a box.
func boxes(texts ...string) bool {
	face, err := sfnt.Parse(liberationsansregular.TTF)
	if err != nil {
		return false // the PDF itself will say
	}
	var b sfnt.Buffer
	for _, t := range texts {
		for _, c := range t {
			if c > 0xffff { // a question mark
				return true
			}
		}
		for _, c := range flat(t) {
			if i, err := face.GlyphIndex(&b, c); err == nil && i == 0 {
				return true
			}
		}
	}
	return false
}

// written are the words of a job that people chose.
func (r *Record) written() []string {
	out := append([]string{r.Machine, r.Assembly, r.Customer, r.Conditions}, r.Operators...)
	for _, p := range r.allPlaces() {
		out = append(out, p.Whole(), p.Check.Condition, p.Check.Source)
	}
	for _, f := range append(slices.Clone(r.Findings), r.Kept...) {
		out = append(out, f.Text())
	}
	return append(out, r.Stages...)
}
