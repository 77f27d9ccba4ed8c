package record

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"thouwright/internal/ledger"
)

// Remains lists what is not within its limits at its last measurement, what
// would decide the undecided, and what was not measured at all.
func (r *Record) Remains() []string {
	var out, open []string
	for _, p := range r.allPlaces() {
		t := p.Last()
		switch {
		case t == nil:
			open = append(open, p.Whole())
		case t.Verdict == ledger.Fail:
			out = append(out, fmt.Sprintf("%s: %s, %s.%s", capital(p.Whole()), t.StandsBoth(), words(t), r.notSince(p)))
		case t.Distrusted() != "":
			out = append(out, fmt.Sprintf("%s: %s is not to be trusted (%s); measure it again.%s", capital(p.Whole()), t.StandsBoth(), t.Distrusted(), r.notSince(p)))
		case t.Verdict == ledger.Undecided:
			s := fmt.Sprintf("%s: %s is not decided; it %s.", capital(p.Whole()), t.StandsBoth(), words(t))
			if by := t.Settles(); by != "" {
				s += " What would decide it: " + by + "."
			}
			out = append(out, s+r.notSince(p))
		}
	}
	if len(open) > 0 {
		out = append(out, "Not measured: "+strings.Join(open, "; ")+".")
	}
	return out
}

// notSince says that a place's newest take is of an earlier stage than others'.
func (r *Record) notSince(p *Place) string {
	s := r.olderStage(p)
	if s == "" {
		return ""
	}
	return " Measured " + s + ", not since."
}

// narrow is the part of a permitted range that a good result may lie from its
// end to be worth watching.
const narrow = 0.15

// Watch lists what is good and worth looking at again: notes that say so, results
// close to a limit, certificates past due.
func (r *Record) Watch() []string {
	var out []string
	for _, f := range r.Noted("watch") {
		if f.Words != "" {
			out = append(out, sentence(f.Text()))
		}
	}
	for _, p := range r.allPlaces() {
		t := p.Last()
		if t == nil || t.Verdict != ledger.Pass || t.Bound {
			continue
		}
		low, high, width := t.Take.Result-t.Low, t.High-t.Take.Result, t.High-t.Low
		if math.IsInf(width, 0) {
			width = math.Abs(t.High)
			if math.IsInf(width, 0) {
				width = math.Abs(t.Low)
			}
		}
		if side, left := "upper", high; math.Min(low, high) < narrow*width {
			if low < high {
				side, left = "lower", low
			}
			out = append(out, fmt.Sprintf("%s: good, but close to its %s limit, %s from it.", capital(p.Whole()), side, figure(left, t.Take.U95, t.Unit).Both()))
		}
	}
	for _, g := range r.Gauges {
		if g.Overdue {
			out = append(out, fmt.Sprintf("The certificate of gauge %s was past due (%s) when it was used.", g.Name, g.Due))
		}
	}
	return out
}

// Steps are the next steps that results which still stand ask for.
func (r *Record) Steps() []string {
	var out []string
	for _, a := range r.Advice {
		if s := sentence(a.Text); a.Open && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}
