package sums

import (
	"fmt"
	"math"

	"thouwright/internal/quantity"
)

var turnSum = Sum{
	Verb:  "turn",
	Title: "Turn of an adjuster",
	About: "How far to turn a nut or screw from the play now to the play wanted, and, for a slotted nut with a split pin, whether any of its positions lands in the band.",
	Fields: []Field{
		{Name: "play", Label: "play now", Kind: Quantity, Unit: quantity.MM, Required: true, Example: "0.12 mm", Help: "As measured, with its ± if known."},
		{Name: "band", Label: "play wanted", Kind: Span, Wanted: true, Unit: quantity.MM, Required: true, Example: "0.02..0.05 mm"},
		{Name: "pitch", Label: "pitch of the thread", Kind: Quantity, Unit: quantity.MM, Example: "1.5 mm", Help: "Or the threads per inch."},
		{Name: "tpi", Label: "threads per inch", Kind: Number, Example: "18"},
		{Name: "slots", Label: "slots of the nut", Kind: Count, Example: "6", Help: "Without it the nut can stand anywhere."},
		{Name: "holes", Label: "mouths of the split-pin holes", Kind: Count, Example: "2", Help: "One drilled hole has two mouths; that is what is taken where only the slots are given."},
		{Name: "hand", Label: "hand of the thread", Kind: Choice, Choices: []string{"right", "left"}, Default: "right"},
		{Name: "offset", Label: "turn (tightening) to the next slot that lines up", Kind: Quantity, Unit: quantity.Deg, Example: "0 deg", Help: "0 deg: a slot lines up now. Without it where the slots stand is not known."},
		{Name: "to-slot", Label: "which way to the slot, by the maker", Kind: Choice, Choices: []string{"slacken", "tighten"}, Help: "Where the wanted turn falls between two slots."},
		{Name: "confidence", Label: "confidence that the play lies in the band", Kind: Share, Default: "0.95", Help: "Counts only if the play has a ±."},
	},
	Formula: "turn = (play - aim) / pitch × 360°, positions per turn = lcm(slots, hole mouths)",
	Source:  "geometry of the thread; slots and mouths evenly spaced",
	Examples: []string{
		"thouwright calc turn --pitch '1.5 mm' --play '0.12 mm' --band '0.02..0.05 mm' --slots 6 --holes 2",
		"thouwright calc turn --tpi 18 --play '5 thou' --band '1..3 thou' --slots 6 --holes 2 --offset '0 deg' --to-slot slacken --unit thou",
	},
	Picture:  picture(turnDrawing),
	Cautions: []string{cautionTurn, cautionLock, cautionAfter},
	run:      runTurn,
}

// gcd and lcm of counts.
func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func lcm(a, b int) int { return a / gcd(a, b) * b }

// wanted is the play wanted, its lower end at least zero.
func (a *Answer) wanted(v *values) (low, high float64, err error) {
	band := v.one("band")
	low, high = band.low, band.high
	if math.IsInf(high, 1) {
		return 0, 0, fmt.Errorf("--band %s: the upper end is needed, as in 0.02..0.05 mm", band.text)
	}
	if math.IsInf(low, -1) {
		low = 0
		a.assume("the band's open lower end is taken as zero: below it is preload")
	}
	if high < low {
		return 0, 0, fmt.Errorf("--band %s: its upper end is below zero", band.text)
	}
	return low, high, nil
}

// draw draws the band in by the expanded uncertainty of the play that comes of the
// sum. Where nothing is left the band stays, and the answer is unsure.
func (a *Answer) draw(v *values, low, high, u95 float64) (float64, float64) {
	l, h, ok := guarded(low, high, u95/coverage95, v.num("confidence"))
	if !ok {
		a.note(fmt.Sprintf("the ± of the play is too wide for this band at confidence %s: aim at the middle and measure again", v.text("confidence")))
		a.unsure = true
		return low, high
	}
	return l, h
}

// belowZero is said where a play comes out below zero.
const belowZero = "below zero is no play but preload, which a play does not show: only where the maker asks for it"

func (v *values) pitch() (float64, error) {
	switch {
	case v.has("pitch") && v.has("tpi"):
		return 0, fmt.Errorf("give --pitch or --tpi, not both")
	case v.has("tpi"):
		n, err := v.positive("tpi")
		return 25.4 / n, err
	case v.has("pitch"):
		return v.positive("pitch")
	}
	return 0, missing("pitch", "the thread's pitch, such as 1.5 mm, or --tpi")
}

// pitchU95 is the expanded uncertainty of the pitch in mm.
func (v *values) pitchU95() float64 {
	if v.has("tpi") {
		return 25.4 / (v.num("tpi") * v.num("tpi")) * v.one("tpi").u95
	}
	return v.one("pitch").u95
}

// turnedU95 is the expanded uncertainty of the play after a turn.
func (v *values) turnedU95(deg float64) float64 {
	return math.Hypot(v.one("play").u95, deg/360*v.pitchU95())
}

// way says a turn in words; positive tightens.
func way(deg float64, hand string) string {
	if math.Abs(deg) < 0.05 {
		return "leave it as it is"
	}
	words, clockwise := "tighten", hand == "right"
	if deg < 0 {
		words, clockwise = "slacken", !clockwise
	}
	side := "anticlockwise"
	if clockwise {
		side = "clockwise"
	}
	return fmt.Sprintf("%s %.1f deg %s (%.2f turns)", words, math.Abs(deg), side, math.Abs(deg)/360)
}

func runTurn(v *values) (*Answer, error) {
	a := &Answer{}
	bandLow, bandHigh, err := a.wanted(v)
	if err != nil {
		return nil, err
	}
	pitch, err := v.pitch()
	if err != nil {
		return nil, err
	}
	play, aim, hand := v.num("play"), (bandLow+bandHigh)/2, v.text("hand")
	deg := func(to float64) float64 { return (play - to) / pitch * 360 }
	low, high := a.draw(v, bandLow, bandHigh, v.turnedU95(deg(aim)))
	a.value("turn", "turn to the middle of the band (tightening above zero)", quantity.Deg, deg(aim))
	a.word("way", "that is", way(deg(aim), hand))
	if !a.unsure {
		a.add(Result{Name: "turn_range", Label: "turns that land in the band", Form: Band, Unit: quantity.Deg, Low: deg(high), High: deg(low), settled: true})
	}
	if play >= low && play <= high && !a.unsure {
		a.note("the play is in the band already")
	}
	if play <= 0 {
		a.note("no play: zero end play hides preload, so slacken until there is play, then measure")
	}
	if v.has("slots") {
		if err := a.slots(v, bandLow, bandHigh, high-low, aim, pitch); err != nil {
			return nil, err
		}
	} else if v.has("holes") || v.has("offset") || v.has("to-slot") {
		return nil, missing("slots", "how many slots the nut has, such as 6")
	}
	a.assume("one turn moves the play by one pitch; slack in the thread and the lock are not counted")
	a.assume("clockwise as seen facing the nut")
	return a, nil
}

// slots says where a slotted nut can be pinned, and what play that gives. width is
// what the uncertainty leaves of the band low..high.
func (a *Answer) slots(v *values, low, high, width, aim, pitch float64) error {
	play, slots, holes := v.num("play"), v.count("slots"), 2
	if v.has("holes") {
		holes = v.count("holes")
	} else {
		a.assume("one split-pin hole, with two mouths")
	}
	n := lcm(slots, holes)
	step, move := 360/float64(n), pitch/float64(n)
	hand := v.text("hand")
	a.value("positions_per_turn", "positions per turn", quantity.None, float64(n))
	a.add(Result{Name: "step", Label: "from one position to the next", Unit: quantity.Deg, Value: step, settled: true})
	a.length("play_per_step", "which changes the play by", move)
	question := "whether a position lands in the band"
	if v.one("play").u95 > 0 || v.pitchU95() > 0 || v.one("offset").u95 > 0 {
		question += ", its ± counted"
	}
	if !v.has("offset") {
		switch {
		case a.unsure:
			a.word("lands", question, "not surely")
		case width >= move:
			a.word("lands", question, "yes")
			a.note("the band is wider than one step: a position always lands in it")
		case width <= 0:
			a.word("lands", question, "no")
		default:
			a.word("lands", question, "perhaps")
			a.note(fmt.Sprintf("the band is narrower than one step: a position lands in it %.0f times of 100; turn to a slot and give --offset 0 to know", 100*width/move))
		}
		switch v.text("to-slot") {
		case "slacken":
			a.add(Result{Name: "slot_play_range", Label: "play at the slot on the slack side of the aim", Form: Band, Unit: quantity.MM, Low: aim, High: aim + move, settled: true})
		case "tighten":
			a.add(Result{Name: "slot_play_range", Label: "play at the slot on the tight side of the aim", Form: Band, Unit: quantity.MM, Low: aim - move, High: aim, settled: true})
			if aim < move {
				a.note(belowZero)
			}
		}
		return nil
	}
	offset := math.Mod(v.num("offset"), step)
	if offset < 0 {
		offset += step
	}
	at := func(k int) (deg, gives float64) {
		deg = offset + float64(k)*step
		return deg, play - deg/360*pitch
	}
	// The positions around the aim: the last that gives the aim or more, and the
	// next one, tighter.
	k := int(math.Floor(((play-aim)/pitch*360-offset)/step + 1e-9))
	slackDeg, slack := at(k)
	tightDeg, tight := at(k + 1)
	const hair = 1e-9 // mm; a position just on the limit is in
	// What the play now, the thread and the slots' place leave open at a position.
	u95 := func(deg float64) float64 { return math.Hypot(v.turnedU95(deg), v.one("offset").u95/360*pitch) }
	inBand := func(deg, p float64) bool {
		if u := u95(deg) / coverage95; u > 0 && !a.unsure {
			return normal((high-p)/u)-normal((low-p)/u) >= v.num("confidence")
		}
		return p >= low-hair && p <= high+hair
	}
	var words []string
	for j := k - n; j <= k+n; j++ {
		if d, p := at(j); inBand(d, p) {
			r := Result{Unit: quantity.MM, Value: p}
			words = append(words, way(d, hand)+": play "+r.Say(v.unit))
		}
	}
	switch {
	case len(words) > 0 && a.unsure:
		a.word("lands", question, "not surely")
	case len(words) > 0:
		a.word("lands", question, "yes")
	default:
		a.word("lands", question, "no")
		a.note("no position lands in the band: another nut or washer, or the maker's rule for the slot")
	}
	a.list("positions", "positions that do", words)
	slackIn, tightIn := inBand(slackDeg, slack), inBand(tightDeg, tight)
	pick, gives, side := slackDeg, slack, "slack"
	switch {
	case v.text("to-slot") == "slacken":
	case v.text("to-slot") == "tighten":
		pick, gives, side = tightDeg, tight, "tight"
		if math.Abs(slack-aim) < hair { // it stands at the aim itself
			pick, gives = slackDeg, slack
		}
	case slackIn != tightIn:
		if tightIn {
			pick, gives, side = tightDeg, tight, "tight"
		}
	case slackIn:
		if math.Abs(tight-aim) < math.Abs(slack-aim) {
			pick, gives, side = tightDeg, tight, "tight"
		}
	default:
		r1, r2 := Result{Unit: quantity.MM, Value: slack}, Result{Unit: quantity.MM, Value: tight}
		a.note("the slot on the slack side of the aim: " + way(slackDeg, hand) + ", play " + r1.Say(v.unit))
		a.note("the slot on the tight side of the aim: " + way(tightDeg, hand) + ", play " + r2.Say(v.unit))
		if tight < -hair {
			a.note(belowZero)
		}
		a.note("which of the two is the maker's to say (--to-slot)")
		return nil
	}
	a.add(Result{Name: "slot_turn", Label: "turn to the slot on the " + side + " side of the aim", Unit: quantity.Deg, Value: pick, settled: true})
	a.word("slot_way", "that is", way(pick, hand))
	u := u95(pick)
	a.add(Result{Name: "slot_play", Label: "play there", Unit: quantity.MM, Value: gives, U95: u, settled: true})
	in := "which is in the band"
	if u > 0 {
		in += ", its ± counted"
	}
	a.flag("slot_in_band", in, inBand(pick, gives) && !a.unsure)
	if gives < -hair {
		a.note(belowZero)
	}
	return nil
}
