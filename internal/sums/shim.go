package sums

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"

	"thouwright/internal/quantity"
)

var shimSum = Sum{
	Verb:  "shim",
	Title: "Shims",
	About: "The fewest shims from a stock list that bring the play into the band.",
	Fields: []Field{
		{Name: "play", Label: "play now", Kind: Quantity, Unit: quantity.MM, Required: true, Example: "0.31 mm", Help: "As measured, with its ± if known."},
		{Name: "band", Label: "play wanted", Kind: Span, Wanted: true, Unit: quantity.MM, Required: true, Example: "0.02..0.05 mm"},
		{Name: "stock", Label: "shims in stock", Kind: Text, Required: true, Many: true, Example: "0.05, 0.10 x4, 0.20, 0.50 mm", Help: "Thicknesses; x4 behind one: only four of it. Several with commas or by repeating; the unit of the last holds for all before it that have none."},
		{Name: "adding", Label: "adding a shim makes the play", Kind: Choice, Choices: []string{"less", "more"}, Default: "less", Help: "less: shims fill the gap. more: shims hold a cover or cap away."},
		{Name: "fitted", Label: "shims fitted now", Kind: Text, Many: true, Example: "0.10, 0.20 mm", Help: "They may be kept or taken out: the answer is then the whole pack."},
		{Name: "confidence", Label: "confidence that the play lies in the band", Kind: Share, Default: "0.95", Help: "Counts only if the play has a ±."},
	},
	Formula: "pack = fitted ± (play - aim); fewest shims by exact search, then nearest to the middle of the band",
	Source:  "bounded coin change by dynamic programming, exact to 0.0001 µm",
	Examples: []string{
		"thouwright calc shim --play '0.31 mm' --band '0.02..0.05 mm' --stock '0.05, 0.10, 0.20, 0.50 mm'",
		"thouwright calc shim --play '2 thou' --band '4..8 thou' --adding more --fitted '5, 10 thou' --stock '3 x2, 5 x2, 10 thou' --unit thou",
	},
	Picture:  picture(shimDrawing),
	Cautions: []string{cautionTurn, cautionLock, cautionAfter},
	run:      runShim,
}

// shim is one thickness of the stock.
type shim struct {
	size  *big.Rat // mm, exact
	text  string
	count int // how many there are
}

// unlimited is a count no pack reaches.
const unlimited = 200

// shims reads a list such as "0.05", "0.10 x4", "0.20 mm".
func (v *values) shims(name string, count int) (list []shim, err error) {
	unit := quantity.None
	all := v.get(name)
	for i := len(all) - 1; i >= 0; i-- { // the last one's unit holds backwards
		word, times, limited := strings.Cut(all[i].text, "x")
		n := count
		// "mm" and "thou" hold no x, so what follows one is a count, and a unit
		// may stand on either side: "0.10 mm x4", "0.10 x4 mm".
		if limited {
			times = strings.TrimSpace(times)
			j := 0
			for j < len(times) && times[j] >= '0' && times[j] <= '9' {
				j++
			}
			if n, err = strconv.Atoi(times[:j]); err != nil || n < 1 || n > unlimited {
				return nil, fmt.Errorf("--%s %s: behind the x stands how many there are, such as 0.10 mm x4", name, all[i].text)
			}
			word += " " + times[j:]
		}
		q, err := quantity.ParseQuantity(word)
		if err != nil {
			return nil, fmt.Errorf("--%s: %w", name, err)
		}
		if q.Unit == quantity.None {
			q.Unit = unit
		}
		if q.Unit == quantity.None {
			if q.Unit, err = bareLength(all[i].text, v.unit); err != nil {
				return nil, fmt.Errorf("--%s: %w", name, err)
			}
		}
		unit = q.Unit
		r, ok := q.Rat(quantity.MM)
		if !ok || r.Sign() <= 0 {
			return nil, fmt.Errorf("--%s %s: not the thickness of a shim", name, all[i].text)
		}
		list = append([]shim{{r, q.String(), n}}, list...)
	}
	return list, nil
}

func runShim(v *values) (*Answer, error) {
	a := &Answer{}
	low, high, err := a.wanted(v)
	if err != nil {
		return nil, err
	}
	play, aim := v.num("play"), (low+high)/2
	low, high = a.draw(v, low, high, v.one("play").u95)
	stock, err := v.shims("stock", unlimited)
	if err != nil {
		return nil, err
	}
	fitted, err := v.shims("fitted", 1)
	if err != nil {
		return nil, err
	}
	pack, there := 0.0, new(big.Rat)
	for _, s := range fitted {
		there.Add(there, new(big.Rat).Mul(s.size, big.NewRat(int64(s.count), 1)))
	}
	pack, _ = there.Float64()
	sign := 1.0 // of the pack's change for less play
	if v.text("adding") == "more" {
		sign = -1
	}
	least, most, best := pack+sign*(play-high), pack+sign*(play-low), pack+sign*(play-aim)
	if least > most {
		least, most = most, least
	}
	a.assume("adding a shim makes the play " + v.text("adding") + " (--adding): make sure, the other way round it goes the wrong way")
	switch {
	case most >= 0 && !a.unsure:
		a.limits("pack_range", packLabel(fitted), math.Max(0, least), most)
	case most < 0:
		a.Failed = true
		from, to := Result{Unit: quantity.MM, Value: -most}, Result{Unit: quantity.MM, Value: -least}
		a.note(fmt.Sprintf("shims have to come out, between %s and %s more than are fitted: give the ones now in with --fitted, or see --adding", from.plainly(v.unit), to.plainly(v.unit)))
		a.list("shims", "shims", nil)
		return a, nil
	}
	p, err := newPacks(append(stock, fitted...), most)
	if err != nil {
		return nil, err
	}
	at, ok := p.fewest(math.Max(0, least), most, best)
	if !ok {
		a.Failed = true
		a.list("shims", "shims", nil)
		preload := false
		for _, near := range p.nearest(math.Max(0, least), most) {
			r := Result{Unit: quantity.MM, Value: play - sign*(p.mm(near)-pack)}
			preload = preload || r.Value < -1e-9
			a.note(fmt.Sprintf("the nearest pack, %s, leaves a play of %s", say(p.pick(near)), r.Say(v.unit)))
		}
		if preload {
			a.note(belowZero)
		}
		none := "no pack from this stock brings the play into the band"
		if v.one("play").u95 > 0 {
			none += ", its ± counted"
		}
		a.note(none)
		return a, nil
	}
	chosen, total := p.pick(at), p.mm(at)
	var words []string
	n := 0
	for _, s := range chosen {
		n += s.count
		words = append(words, s.String())
	}
	a.list("shims", "shims", words)
	a.add(Result{Name: "count", Label: "how many", Value: float64(n), settled: true})
	a.settle("pack", "thickness together", total)
	a.add(Result{Name: "play_after", Label: "play then", Unit: quantity.MM, Value: play - sign*(total-pack), U95: v.one("play").u95, settled: true})
	if n == 0 {
		a.note("no shim is needed")
	}
	a.note("measure the pack with a micrometer before it goes in, and the play again afterwards")
	a.assume("shims of their marked thickness, clean and flat")
	return a, nil
}

func packLabel(fitted []shim) string {
	if len(fitted) == 0 {
		return "shims to add, together"
	}
	return "whole pack, together"
}

// String writes "0.20 mm" or "2 x 0.20 mm".
func (s shim) String() string {
	if s.count > 1 {
		return fmt.Sprintf("%d x %s", s.count, s.text)
	}
	return s.text
}

func say(l []shim) string {
	if len(l) == 0 {
		return "none"
	}
	var w []string
	for _, s := range l {
		w = append(w, s.String())
	}
	return strings.Join(w, " and ")
}
