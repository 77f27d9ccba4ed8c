// Package advice says what a person should know and do next: the cautions of a
// method, and the sums that failed takes ask for. It is pure; page and record
// show the same.
package advice

import (
	"regexp"
	"slices"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
	"thouwright/internal/sums"
)

// The cautions that a record and the page show where they apply. They are common
// practice of the trade, no source.
const (
	stands     = "Stands and chocks, never a jack alone; do not rock a jacked vehicle."
	byHand     = "Turn by hand with the drive isolated; nothing loose near rotating parts."
	newLock    = "New split pin, lock tab and seals; the final torque is the maker's. Locking moves the play: only a take made after it counts."
	spring     = "Mind stored spring force when the load is let go."
	machining  = "Never weld, heat or straighten steering parts; crack-test ground steering shafts; grinding can remove the hardened case."
	afterwards = "After assembly: lock to lock without binding, end play and temperature again after a short run, alignment."
	onlyThis   = "A pass is about this dimension only, not roadworthiness. The maker's procedure, local rules and a qualified person come first."
	silence    = "Silence is not a pass: an unheard sound never means accepted."
)

// Cautions are those of one method, of a check with an adjuster or without, the general
// ones last.
func Cautions(m string, adjusted bool) []string {
	var c []string
	switch m {
	case method.Play:
		c = append(c, stands)
	case method.EndPlay:
		c, adjusted = append(c, stands), true
	case method.RunOut:
		c = append(c, byHand)
	case method.Drag:
		c = append(c, stands, byHand, spring)
	case method.Size, method.Derived:
		c = append(c, machining)
	}
	if adjusted {
		c = append(c, newLock)
	}
	return append(c, onlyThis)
}

// Of are the cautions of a job with these methods, where something is adjusted or not, and
// those of every job.
func Of(methods []string, adjusted bool) []string {
	apply := map[string]bool{onlyThis: true, silence: true}
	for _, m := range methods {
		for _, c := range Cautions(m, adjusted) {
			apply[c] = true
		}
		if m != method.RunOut {
			apply[afterwards] = true
		}
	}
	return slices.DeleteFunc(all(), func(c string) bool { return !apply[c] })
}

// all are the cautions of the whole trade.
func all() []string {
	return []string{stands, byHand, newLock, spring, machining, afterwards, onlyThis, silence}
}

// Next is what the takes of one stage ask for. Takes of other stages are passed
// over: what was worn as found has been machined since.
func Next(b *config.Bench, j *config.Job, stage string, takes []*ledger.Take) []sums.Suggestion {
	if j == nil {
		return nil
	}
	var here []*ledger.Take
	for _, t := range takes {
		if t.Tag.Stage == stage {
			here = append(here, t)
		}
	}
	return sums.Suggest(here, checks(b, j))
}

// byCommand is how a suggestion names its command; on the page that is a link.
var byCommand = regexp.MustCompile(` \(calc [^)]*\)`)

// Live is suggestions as the page takes them.
func Live(all []sums.Suggestion) []ledger.LiveSuggestion {
	var out []ledger.LiveSuggestion
	for _, s := range all {
		out = append(out, ledger.LiveSuggestion{
			Component: s.Component, Check: s.Check, Position: s.Position, Text: byCommand.ReplaceAllString(s.Text, ""),
			Verb: s.Verb, Unit: s.Unit, Inputs: s.Inputs,
		})
	}
	return out
}

// checks are a job's checks as the sums need them: with the limits to build to,
// not a stage's wear limits.
func checks(b *config.Bench, j *config.Job) []sums.Check {
	var out []sums.Check
	for ci := range j.Components {
		comp := &j.Components[ci]
		for ki := range comp.Checks {
			k := &comp.Checks[ki]
			spec, err := config.Spec(b, j, ci, ki, "")
			if err != nil {
				continue // the sheet was checked; a check that can't be measured asks for nothing
			}
			c := sums.Check{
				Component: comp.Name, Name: k.Name, ID: k.ID, Method: k.Method,
				Low: spec.Limits.Low, High: spec.Limits.High, Unit: spec.Unit,
				Fit: k.Fit, Turning: k.Turning, Value: k.Value,
			}
			if a := k.Adjuster; a != nil {
				c.Hand, c.Slots, c.Holes = a.Hand, a.Slots, a.Holes
				c.Pitch = pitchMM(a)
			}
			out = append(out, c)
		}
	}
	return out
}

// pitchMM is an adjuster's pitch in mm, 0 where none is given.
func pitchMM(a *config.Adjuster) float64 {
	if a.TPI > 0 {
		return 25.4 / a.TPI
	}
	if a.Pitch == nil {
		return 0
	}
	mm, err := a.Pitch.In(quantity.MM)
	if err != nil {
		return 0
	}
	return mm
}
