package sums

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// Check is what Suggest needs of a job sheet's check.
type Check struct {
	Component, Name, ID string
	Method              string  // play, end-play, size, derived, …
	Low, High           float64 // the build limits in Unit, infinite where open; not a stage's wear limit
	Unit                quantity.Unit
	Fit                 string  // "30 g6": tells a shaft from a hole
	Turning             string  // "least", "most": a rocked bore gauge measures a hole
	Value               string  // of a derived check, as 'bush["upper"] - pin["upper"]'
	Pitch               float64 // of the adjuster in mm, 0 without one
	Hand                string
	Slots, Holes        int
}

// Suggestion is the next step that a failed take asks for: one line for people
// and the sum that it comes from, filled in.
type Suggestion struct {
	Take      uint64   `json:"take"` // the failed one
	Component string   `json:"component"`
	Check     string   `json:"check"`
	Position  string   `json:"position"`
	Text      string   `json:"text"`
	Verb      string   `json:"verb"`
	Unit      string   `json:"unit"`
	Inputs    Inputs   `json:"inputs"`  // may lack what only the user knows
	Command   string   `json:"command"` // the same at the command line
	Cautions  []string `json:"cautions,omitempty"`
	Answer    *Answer  `json:"-"` // nil where an input is lacking
}

// Suggest reads a job's takes and says what to work out next: a failed play with
// a measured shaft gives the bush's bore, as it is and ground to clean up; a
// failed end play gives the turn of the adjuster, or the shims. Only the latest
// take of each place counts, in the order of the takes.
func Suggest(takes []*ledger.Take, checks []Check) []Suggestion {
	s := suggester{checks: checks, latest: latest(takes)}
	var out []Suggestion
	for _, t := range s.latest {
		if t.Verdict != ledger.Fail {
			continue
		}
		c, ok := s.check(t)
		if !ok {
			continue
		}
		switch c.Method {
		case "play", "derived":
			out = append(out, s.clearance(t, c)...)
		case "end-play":
			out = append(out, s.endPlay(t, c)...)
		}
	}
	return merge(out)
}

type place struct{ component, check, position string }

func placeOf(t *ledger.Take) place {
	return place{t.Tag.Component, t.Tag.Check, t.Tag.Position}
}

// latest keeps the last take of each place that no redo has superseded.
func latest(takes []*ledger.Take) (out []*ledger.Take) {
	replaced := map[uint64]bool{}
	for _, t := range takes {
		if t.Replaces != 0 {
			replaced[t.Replaces] = true
		}
	}
	last := map[place]uint64{}
	for _, t := range takes {
		if !replaced[t.Take] {
			last[placeOf(t)] = max(last[placeOf(t)], t.Take)
		}
	}
	for _, t := range takes {
		if last[placeOf(t)] == t.Take && !replaced[t.Take] {
			out = append(out, t)
		}
	}
	return out
}

type suggester struct {
	checks []Check
	latest []*ledger.Take
}

func (s suggester) check(t *ledger.Take) (Check, bool) {
	for _, c := range s.checks {
		if c.Component == t.Tag.Component && c.Name == t.Tag.Check {
			return c, true
		}
	}
	return Check{}, false
}

// clearance suggests the bush for a failed play or derived clearance.
func (s suggester) clearance(t *ledger.Take, c Check) []Suggestion {
	if c.Method == "derived" && minus.FindStringSubmatch(c.Value) == nil {
		return nil
	}
	band, ok := bandText(c)
	if !ok {
		return nil
	}
	shafts, known := s.shafts(t, c)
	x := suggestion(t, c, "bush", Inputs{"clearance": {band}})
	if len(shafts) == 0 {
		if !known {
			return nil
		}
		x.Text = fmt.Sprintf("%s: measure the shaft's diameter; then the bore of a bush for it can be worked out (calc bush)", where(t))
		return []Suggestion{x.done()}
	}
	for _, k := range shafts {
		x.Inputs["shaft"] = append(x.Inputs["shaft"], measuredText(k))
	}
	sum, _ := Find("bush")
	u := c.Unit
	a, err := sum.Run(x.Inputs, u)
	if err != nil {
		x.Text = fmt.Sprintf("%s: no bush for the shaft as it is: %v", where(t), err)
		if clean, ground, ok := cleanUp(shafts); ok { // ground true it may work
			x.Inputs["ground"] = []string{ground}
			if a, err := sum.Run(x.Inputs, u); err == nil {
				b, _ := a.Result("bore")
				x.Text = fmt.Sprintf("%s: no one bush for the shaft as it is; ground true, to %s or less, it takes a bush finished to a bore of %s. How far it may be ground: ask the maker", where(t), clean, b.toWork(u))
				x.Answer = a
			}
		}
		return []Suggestion{x.done()}
	}
	x.Answer = a
	bore, _ := a.Result("bore")
	x.Text = fmt.Sprintf("%s: for the shaft as it measures, a bush finished to a bore of %s", where(t), bore.toWork(u))
	if clean, ground, ok := cleanUp(shafts); ok {
		in := Inputs{"clearance": x.Inputs["clearance"], "shaft": x.Inputs["shaft"], "ground": {ground}}
		if g, err := sum.Run(in, u); err == nil {
			b, _ := g.Result("bore")
			x.Text += fmt.Sprintf("; ground to clean up, at %s or less, a bush finished to a bore of %s at that size", clean, b.toWork(u))
		}
	}
	x.Text += ". How far it may be ground: ask the maker. Ream after pressing in"
	return []Suggestion{x.done()}
}

// cleanUp is the size at or below which grinding cleans the shaft up, and the same
// as a sum reads it: measured no better, once ground, than the shaft is now.
func cleanUp(shafts []*ledger.Take) (size, ground string, ok bool) {
	least, u := math.Inf(1), 0.0
	unit := shafts[0].Unit
	for _, t := range shafts {
		v, err1 := quantity.Convert(t.Result-u95(t), t.Unit, unit)
		d, err2 := quantity.Convert(u95(t), t.Unit, unit)
		if err1 != nil || err2 != nil {
			return "", "", false
		}
		least, u = math.Min(least, v), math.Max(u, d)
	}
	n, known := shopPlaces[unit]
	if !known {
		n = places[unit]
	}
	least = roundDown(least, n) // or less: never rounded up
	size = strconv.FormatFloat(least, 'f', n, 64) + " " + unit.String()
	return size, measured(least, u, unit), true
}

// endPlay suggests the turn of the adjuster, or the shims.
func (s suggester) endPlay(t *ledger.Take, c Check) []Suggestion {
	band, ok := bandText(c)
	if !ok {
		return nil
	}
	// A bound that fails lies below the band: which way is known, not how far.
	const tooTight = ": less play than this gauge can show, and none at all hides preload: "
	in := Inputs{"play": {measuredText(t)}, "band": {band}}
	if t.Bound {
		delete(in, "play")
	}
	if c.Pitch <= 0 {
		x := suggestion(t, c, "shim", in)
		if t.Bound {
			x.Text = where(t) + tooTight + "give it play with shims, then measure again"
			return []Suggestion{x.done()}
		}
		text, ok := shimsText(t, c)
		if !ok {
			return nil
		}
		x.Text = where(t) + ": " + text + " (calc shim finds the fewest from your stock)"
		return []Suggestion{x.done()}
	}
	in["pitch"] = []string{fmt.Sprintf("%.6g mm", c.Pitch)}
	if c.Hand != "" {
		in["hand"] = []string{c.Hand}
	}
	if c.Slots > 0 {
		in["slots"] = []string{fmt.Sprint(c.Slots)}
		if c.Holes > 0 {
			in["holes"] = []string{fmt.Sprint(c.Holes)}
		}
	}
	x := suggestion(t, c, "turn", in)
	if t.Bound {
		x.Text = where(t) + tooTight + "slacken until there is some, then measure again"
		return []Suggestion{x.done()}
	}
	sum, _ := Find("turn")
	a, err := sum.Run(in, c.Unit)
	if err != nil {
		return nil
	}
	x.Answer = a
	way, _ := a.Result("way")
	x.Text = fmt.Sprintf("%s: %s to come to the middle of the band", where(t), way.Text)
	if step, ok := a.Result("play_per_step"); ok {
		lands, _ := a.Result("lands")
		x.Text += fmt.Sprintf("; one slot changes the play by %s", step.plainly(c.Unit))
		switch {
		case lands.Text == "yes":
		case a.unsure:
			x.Text += "; the play is not known well enough to say which slot lands in the band: aim at the middle and measure again"
		default:
			x.Text += ", wider than the band, so not every slot lands in it"
		}
	}
	return []Suggestion{x.done()}
}

// shimsText says how much shims have to take away or to give, the ± of the play
// counted as calc shim counts it.
func shimsText(t *ledger.Take, c Check) (string, bool) {
	mm := func(v float64, u quantity.Unit) float64 {
		x, err := quantity.Convert(v, u, quantity.MM)
		if err != nil {
			return math.NaN()
		}
		return x
	}
	play, low, high := mm(t.Result, t.Unit), mm(math.Max(0, c.Low), c.Unit), mm(c.High, c.Unit)
	if math.IsNaN(play + low + high) {
		return "", false
	}
	loose := play > high
	if l, h, ok := guarded(low, high, mm(u95(t), t.Unit)/coverage95, suggestConfidence); ok {
		low, high = l, h
	} else { // nothing is sure: aim at the middle and measure again
		low, high = (low+high)/2, (low+high)/2
	}
	if loose {
		return "shims have to take away " + Result{Unit: quantity.MM, Low: play - high, High: play - low}.toWork(c.Unit) + " of play", true
	}
	return "shims have to give " + Result{Unit: quantity.MM, Low: low - play, High: high - play}.toWork(c.Unit) + " more play", true
}

// suggestConfidence is what the sums take where none is given.
const suggestConfidence = 0.95

// bandText is the check's limits as a range; a play's open lower end is zero.
func bandText(c Check) (string, bool) {
	if math.IsInf(c.High, 0) || math.IsNaN(c.High) || !c.Unit.IsLength() {
		return "", false
	}
	low := math.Max(c.Low, 0)
	if math.IsNaN(low) || low >= c.High {
		return "", false
	}
	return number(low, c.Unit) + ".." + number(c.High, c.Unit) + " " + c.Unit.String(), true
}

func u95(t *ledger.Take) float64 {
	if math.IsNaN(t.U95) || math.IsInf(t.U95, 0) {
		return 0
	}
	return t.U95
}

// measuredText is a take's result as a sum reads it.
func measuredText(t *ledger.Take) string { return measured(t.Result, u95(t), t.Unit) }

func measured(v, u95 float64, unit quantity.Unit) string {
	s := number(v, unit)
	if u := number(u95, unit); !isZero(u) {
		s += " ± " + u
	}
	return s + " " + unit.String()
}

func where(t *ledger.Take) string {
	s := t.Tag.Component
	for _, w := range []string{t.Tag.Check, t.Tag.Position} {
		if w != "" {
			s += ", " + w
		}
	}
	return s
}

func suggestion(t *ledger.Take, c Check, verb string, in Inputs) Suggestion {
	return Suggestion{Take: t.Take, Component: t.Tag.Component, Check: t.Tag.Check, Position: t.Tag.Position, Verb: verb, Unit: c.Unit.String(), Inputs: in}
}

// done adds the command line and the cautions.
func (x Suggestion) done() Suggestion {
	sum, _ := Find(x.Verb)
	x.Command = sum.CommandLine(x.Inputs, x.Unit)
	x.Cautions = sum.Cautions
	return x
}

// CommandLine is a sum with its inputs as typed at a shell.
func (s Sum) CommandLine(in Inputs, unit string) string {
	var b strings.Builder
	b.WriteString("thouwright calc " + s.Verb)
	for _, f := range s.Fields {
		for _, t := range in[f.Name] {
			if t = strings.TrimSpace(t); t == "" {
				continue
			}
			quoted := "'" + strings.ReplaceAll(t, "'", `'\''`) + "'"
			switch {
			case f.Positional:
				b.WriteString(" " + quoted)
			case f.Kind == Switch:
				b.WriteString(" --" + f.Name + "=" + t)
			default:
				b.WriteString(" --" + f.Name + " " + quoted)
			}
		}
	}
	if unit != "" && unit != "mm" {
		b.WriteString(" --unit " + unit)
	}
	return b.String()
}

// merge joins suggestions that come to the same sum: the positions of one play
// with one shaft need one bush.
func merge(all []Suggestion) (out []Suggestion) {
	for _, x := range all {
		same := slices.IndexFunc(out, func(y Suggestion) bool {
			return x.Component == y.Component && x.Command == y.Command && x.Verb == "bush"
		})
		if same < 0 {
			out = append(out, x)
			continue
		}
		y := &out[same]
		if x.Check == y.Check && x.Position != "" {
			y.Text = strings.Replace(y.Text, ", "+y.Position+": ", ", "+y.Position+" and "+x.Position+": ", 1)
			y.Position += " and " + x.Position
		}
	}
	return out
}
