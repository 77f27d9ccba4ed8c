package record

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
)

// Count is how many places came out how.
type Count struct{ Pass, Fail, Undecided, Measured, Open int }

// Made is how many were measured.
func (n Count) Made() int { return n.Pass + n.Fail + n.Undecided + n.Measured }

func (n *Count) add(t *Take) {
	switch {
	case t == nil:
		n.Open++
	case t.Verdict == ledger.Pass:
		n.Pass++
	case t.Verdict == ledger.Fail:
		n.Fail++
	case t.Verdict == ledger.Undecided:
		n.Undecided++
	default:
		n.Measured++
	}
}

// Last is a place's newest counting take, whatever its stage; nil for none.
func (p *Place) Last() *Take {
	for i := len(p.At) - 1; i >= 0; i-- {
		if p.At[i].Take != nil {
			return p.At[i].Take
		}
	}
	return nil
}

// olderStage is the stage of a place's newest take where others were measured at a
// later one; "" where it is as new as any.
func (r *Record) olderStage(p *Place) string {
	shown := r.Shown()
	for i := len(p.At) - 1; i >= 0; i-- {
		if p.At[i].Take != nil {
			if i < shown[len(shown)-1] {
				return p.At[i].Stage
			}
			return ""
		}
	}
	return ""
}

// First is what a place was found to be: its first take that was not done over;
// nil where it was not measured.
func (p *Place) First() *Take {
	for i := range p.At {
		if t := p.At[i].First(); t != nil {
			return t
		}
	}
	return nil
}

// First is the first take at a stage that was not done over, nil for none.
func (o *Outcome) First() *Take {
	for _, t := range o.Earlier {
		if t.Redone == 0 {
			return t
		}
	}
	return o.Take
}

// Before is what a place measured before it was adjusted within the stage; nil
// where it was not.
func (o *Outcome) Before() *Take {
	if t := o.First(); t != o.Take {
		return t
	}
	return nil
}

// Name is a place in words: the check and, where there is one, the position.
func (p *Place) Name() string {
	if p.Position == "" {
		return p.Check.Name
	}
	return p.Check.Name + ", " + p.Position
}

// Whole is the name with the component before it.
func (p *Place) Whole() string {
	if p.Check.Component == "" {
		return p.Name()
	}
	return p.Check.Component + ", " + p.Name()
}

// places are all places of all checks.
func (r *Record) allPlaces() (out []*Place) {
	for _, c := range r.Checks {
		out = append(out, c.Places...)
	}
	return out
}

// Passage is a piece of the owner's page: a word in front, sentences behind.
type Passage struct {
	Label string
	Lines []string
}

// InShort says in plain words what was found, what was done and what it is now.
func (r *Record) InShort() []Passage {
	places := r.allPlaces()
	measured := slices.DeleteFunc(slices.Clone(places), func(p *Place) bool { return p.Last() == nil })
	if len(measured) == 0 {
		s := "Nothing has been measured yet."
		if len(places) > 0 {
			s = "Nothing has been measured yet; " + counted(len(places), "place is", "places are") + " to be measured."
		}
		return append([]Passage{{"Found", []string{s}}}, r.done(nil)...)
	}
	changed := slices.DeleteFunc(slices.Clone(measured), func(p *Place) bool { return p.First() == p.Last() })
	var then, now Count
	for _, p := range measured {
		then.add(p.First())
		now.add(p.Last())
	}
	// What was found at a place that was measured only after the work is no
	// finding from before it.
	stage := ""
	if len(r.Stages) > 1 {
		stage = r.Stages[0]
		then = Count{}
		for _, p := range measured {
			if t := p.At[0].First(); t != nil {
				then.add(t)
			}
		}
	}
	var out []Passage
	if then.Made() > 0 && (len(changed) > 0 || len(r.Stages) == 1 || then.Made() == now.Made()) {
		out = append(out, Passage{"Found", []string{then.sentence(stage), worstSentence("was", measured, (*Place).First)}})
	}
	out = append(out, r.done(changed)...)
	if len(changed) > 0 || len(out) == 0 || then.Made() != now.Made() {
		out = append(out, Passage{"Now", []string{now.now(), r.older(measured), worstSentence("is", measured, (*Place).Last)}})
	}
	for i := range out {
		out[i].Lines = slices.DeleteFunc(out[i].Lines, func(s string) bool { return s == "" })
	}
	return out
}

// older says how many places were not measured again after the work.
func (r *Record) older(measured []*Place) string {
	stages := map[string]int{}
	n := 0
	for _, p := range measured {
		if s := r.olderStage(p); s != "" {
			stages[s]++
			n++
		}
	}
	if n == 0 {
		return ""
	}
	of := "at an earlier stage"
	for s := range stages {
		if len(stages) == 1 {
			of = s
		}
	}
	return fmt.Sprintf("%s measured (%s) and not since.", capital(counted(n, "of them was", "of them were")), of)
}

// done says what was done: the notes that say so, and what was adjusted.
func (r *Record) done(changed []*Place) []Passage {
	var lines []string
	for _, f := range r.Noted("done") {
		if f.Words != "" {
			lines = append(lines, sentence(f.Text()))
		}
	}
	for _, f := range r.Noted("renewed") {
		if f.Words != "" {
			lines = append(lines, "Renewed: "+strings.TrimSuffix(f.Text(), ".")+".")
		}
	}
	for _, p := range changed {
		for i := range p.At {
			o := &p.At[i]
			if b := o.Before(); b != nil {
				lines = append(lines, fmt.Sprintf("%s: adjusted from %s to %s%s.", capital(p.Whole()), b.Stands(), o.Take.Stands(), prefixed(", ", o.Stage)))
			}
		}
	}
	if len(lines) == 0 && len(changed) > 0 {
		lines = []string{"What was done between the measurements is not noted in this job."}
	}
	if len(lines) == 0 {
		return nil
	}
	return []Passage{{"Done", lines}}
}

// sentence says how places came out.
func (n Count) sentence(stage string) string {
	if stage != "" {
		stage = " (" + stage + ")"
	}
	return fmt.Sprintf("%s measured%s: %s.", capital(counted(n.Made(), "place was", "places were")), stage, n.list())
}

// now says how places stand.
func (n Count) now() string {
	if n.Made() == 1 {
		return capital(n.list()) + "."
	}
	return fmt.Sprintf("Of %d places %s.", n.Made(), n.list())
}

// list says how places came out, as a part of a sentence.
func (n Count) list() string {
	made := n.Made()
	var parts []string
	add := func(k int, one, many string) {
		switch {
		case k == 1 && made > 1:
			parts = append(parts, "one "+one)
		case k == 1:
			parts = append(parts, "it "+one)
		case k > 1 && k == made:
			parts = append(parts, "all "+many)
		case k > 1:
			parts = append(parts, fmt.Sprint(k)+" "+many)
		}
	}
	add(n.Pass, "is within its limits", "are within their limits")
	add(n.Fail, "is outside its limits", "are outside their limits")
	add(n.Undecided, "could not be decided with the gauge used", "could not be decided with the gauges used")
	add(n.Measured, "has no limits to meet", "have no limits to meet")
	list := parts[len(parts)-1]
	if len(parts) > 1 {
		list = strings.Join(parts[:len(parts)-1], ", ") + " and " + list
	}
	return list
}

// worstSentence names the place that lies farthest beyond its limits, if any does.
func worstSentence(is string, places []*Place, pick func(*Place) *Take) string {
	var worst *Place
	most := 1.0
	for _, p := range places {
		t := pick(p)
		if t == nil || t.Verdict != ledger.Fail {
			continue
		}
		if b := t.beyond(); worst == nil || b > most {
			worst, most = p, b
		}
	}
	if worst == nil {
		return ""
	}
	t := pick(worst)
	s := fmt.Sprintf("Farthest out %s %s: %s, %s", is, worst.Whole(), t.StandsBoth(), words(t))
	if times := t.TimesText(); times != "" {
		s += "; that is " + times
	}
	return s + "."
}

// beyond is how far outside its limits a result is, in widths of them.
func (t *Take) beyond() float64 {
	over := math.Max(t.Take.Result-t.High, t.Low-t.Take.Result)
	if w := t.High - t.Low; !math.IsInf(w, 0) && w > 0 {
		return over / w
	}
	if scale := math.Abs(t.High); !math.IsInf(scale, 0) && scale > 0 {
		return over / scale
	}
	return over / math.Abs(t.Low)
}

// words are a take's words as a part of a sentence.
func words(t *Take) string { return strings.TrimSuffix(t.Words, ".") }

// called is what a method measures, for the owner.
var called = map[string]string{method.Play: "play", method.EndPlay: "end play", method.RunOut: "run-out", method.Drag: "drag"}

// TimesText says how many times what is permitted a result is: '1.5 times the
// permitted play'.
func (t *Take) TimesText() string {
	if t.Times <= 0 || t.Bound {
		return ""
	}
	what := "the permitted " + called[t.Method]
	if called[t.Method] == "" {
		what = "the upper limit"
	}
	places := "%.1f"
	if t.Times > 0.95 && t.Times < 1.05 || t.Times < 0.1 {
		places = "%.2f"
	}
	return fmt.Sprintf(places+" times ", t.Times) + what
}

// Spread is a check's takes at a stage over its positions.
type Spread struct {
	Stage string
	Text  string
}

// Sentence is the spread with its stage before it.
func (s Spread) Sentence() string { return sentence(strings.TrimPrefix(s.Stage+", "+s.Text, ", ")) }

// Spreads says how a check varies over its positions, at each stage at which two
// were measured or more.
func (c *Check) Spreads() (out []Spread) {
	for i := range c.stages() {
		var most, least *Take
		n := 0
		for _, p := range c.Places {
			t := p.At[i].Take
			if t == nil {
				continue
			}
			n++
			if most == nil || t.Take.Result > most.Take.Result {
				most = t
			}
			if least == nil || t.Take.Result < least.Take.Result {
				least = t
			}
		}
		if n < 2 {
			continue
		}
		f := figure(most.Take.Result-least.Take.Result, math.Hypot(most.Take.U95, least.Take.U95), most.Unit)
		out = append(out, Spread{c.Places[0].At[i].Stage, fmt.Sprintf("over %d positions largest at %s, smallest at %s, %s apart.", n, most.Tag.Position, least.Tag.Position, f.Both())})
	}
	return out
}

// stages is how many stages the check's places have.
func (c *Check) stages() int {
	if len(c.Places) == 0 {
		return 0
	}
	return len(c.Places[0].At)
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	return fmt.Sprint(n) + " " + many
}

// sentence begins large and ends with a full stop.
func sentence(s string) string {
	s = capital(strings.TrimSpace(s))
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".!?") {
		return s
	}
	return s + "."
}

// capital makes the first letter a large one, but of a unit's.
func capital(s string) string {
	c, n := utf8.DecodeRuneInString(s)
	if n == 0 || c == 'µ' {
		return s
	}
	return string(unicode.ToUpper(c)) + s[n:]
}

func prefixed(prefix, s string) string {
	if s == "" {
		return ""
	}
	return prefix + s
}
