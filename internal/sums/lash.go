package sums

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"thouwright/internal/quantity"
)

var lashSum = Sum{
	Verb:  "lash",
	Title: "Lash at the rim",
	About: "A play somewhere in a chain of arms and ratios, to degrees there and travel at the rim of the steering wheel; compared for information with 49 CFR 393.209 and 570.7.",
	Fields: []Field{
		{Name: "play", Label: "play at the start of the chain", Kind: Quantity, Unit: quantity.MM, Example: "0.8 mm", Help: "A travel; for an angle begin the chain with 'play 0.5 deg'."},
		{Name: "arm", Label: "arm on which it acts", Kind: Quantity, Unit: quantity.MM, Example: "150 mm", Help: "Short for a chain that begins with this arm."},
		{Name: "ratio", Label: "ratio of the steering box", Kind: Number, Example: "18", Help: "Short for a ratio behind the arm: turns of the wheel for one of the arm."},
		{Name: "chain", Label: "chain from the play to the wheel", Kind: Link, Many: true, Example: "arm 150 mm, ratio 18", Help: "In order: 'arm 150 mm' turns a travel into an angle and an angle into a travel, 'ratio 18' multiplies, 'play 0.2 mm' adds what another joint has there."},
		{Name: "wheel", Label: "diameter of the steering wheel", Kind: Quantity, Unit: quantity.MM, Required: true, Example: "450 mm"},
		{Name: "steering", Label: "steering", Kind: Choice, Choices: []string{"manual", "power"}, Default: "manual"},
	},
	Formula: "angle = travel / arm, angle × ratio, rim travel = angle × wheel / 2",
	Source:  "small-angle geometry; 49 CFR 393.209(b) and 570.7 Table 1 (the power column and the rows of 19 and 21 in from memory)",
	Examples: []string{
		"thouwright calc lash --play '0.8 mm' --arm '150 mm' --ratio 18 --wheel '450 mm'",
		"thouwright calc lash --chain 'play 0.4 mm, arm 140 mm, arm 150 mm, play 0.3 mm, arm 160 mm, ratio 18, play 1.5 deg' --wheel '18 in'",
	},
	Picture:  picture(lashDrawing),
	Cautions: []string{cautionSteering, "49 CFR 393.209 is for commercial vehicles in the United States; 570.7 for vehicles in use of 10,000 lb or less there. The maker's figure and local rules come first.", cautionAfter, cautionSize},
	run:      runLash,
	judge:    judgeLash,
}

// lashLimit is one row of a table of permitted lash: the wheel's diameter and
// the travel at its rim, in inches. 0: no row in that table.
type lashLimit struct{ wheel, manual, power, other float64 }

// lashLimits: 49 CFR 393.209(b) (manual, power) and 570.7 Table 1 (other). The
// power column and the rows of 19 and 21 in are from memory, the others were
// seen (testdata/reference/lash.csv). The first row is for 16 in or less.
var lashLimits = []lashLimit{
	{16, 2, 4.25, 2},
	{18, 2.25, 4.75, 2.25},
	{19, 2.375, 5, 0},
	{20, 2.5, 5.25, 2.5},
	{21, 2.625, 5.5, 0},
	{22, 2.75, 5.75, 2.75},
}

// lashLimitFor is the row of the largest wheel that is no larger than this one
// (mm), because the limits grow with the wheel; get chooses the column. The
// result is in mm.
func lashLimitFor(wheel float64, get func(lashLimit) float64) (limit, row float64) {
	for i, l := range lashLimits {
		if x := get(l); x > 0 && (i == 0 || wheel >= l.wheel*25.4-0.5) { // 457 mm is an 18 in wheel
			limit, row = x*25.4, l.wheel
		}
	}
	return limit, row
}

// link reads one step of a chain. Its unit is mm or deg for a play, mm for an
// arm, none for a ratio.
func (f *Field) link(t string, asked quantity.Unit) (value, error) {
	word, rest, _ := strings.Cut(t, " ")
	x := value{text: t, word: word}
	bad := fmt.Errorf("%q: expected 'arm 150 mm', 'ratio 18' or 'play 0.2 mm'", t)
	switch word {
	case "ratio":
		a, b, two := strings.Cut(rest, ":")
		if !two {
			b = "1"
		}
		n, err1 := quantity.ParseDecimal(strings.TrimSpace(a))
		d, err2 := quantity.ParseDecimal(strings.TrimSpace(b))
		x.num = n.Float() / d.Float()
		if err1 != nil || err2 != nil || !(x.num > 0) || math.IsInf(x.num, 0) {
			return x, bad
		}
		return x, nil
	case "arm", "play":
		m, err := quantity.ParseMeasured(rest)
		if err != nil {
			return x, bad
		}
		if m.Unit == quantity.None {
			if m.Unit, err = bareLength(t, asked); err != nil {
				return x, err
			}
		}
		x.unit = quantity.MM
		if m.Unit.Kind() == quantity.Angle && word == "play" {
			x.unit = quantity.Deg
		}
		if x.num, err = m.In(x.unit); err != nil || x.num < 0 || word == "arm" && x.num == 0 {
			return x, bad
		}
		if m.HasU95 {
			x.u95, err = quantity.Quantity{Value: m.U95, Unit: m.Unit}.In(x.unit)
		}
		x.text = word + " " + m.String()
		return x, err
	}
	return x, bad
}

// links is the whole chain, the short forms first.
func (v *values) links() (out []value, err error) {
	for _, name := range []string{"play", "arm", "ratio"} {
		if !v.has(name) {
			continue
		}
		x := v.one(name)
		if x.num < 0 || name != "play" && x.num == 0 {
			return nil, fmt.Errorf("--%s %s: has to be more than zero", name, x.text)
		}
		x.word, x.text, x.unit = name, name+" "+x.text, quantity.MM
		out = append(out, x)
	}
	return append(out, v.get("chain")...), nil
}

func runLash(v *values) (*Answer, error) {
	a := &Answer{}
	chain, err := v.links()
	if err != nil {
		return nil, err
	}
	if len(chain) == 0 || chain[0].word != "play" {
		return nil, missing("play", "the play at the start of the chain, such as 0.8 mm")
	}
	// x is a travel in mm or an angle in degrees, whichever the chain is at.
	x, angle := 0.0, chain[0].unit == quantity.Deg
	var steps []string
	for _, l := range chain {
		switch l.word {
		case "play":
			if (l.unit == quantity.Deg) != angle {
				return nil, fmt.Errorf("%q: the chain stands at %s here", l.text, at(angle))
			}
			x += l.num
		case "ratio":
			x *= l.num
		case "arm":
			if angle {
				x = x * math.Pi / 180 * l.num
			} else {
				x = x / l.num * 180 / math.Pi
			}
			angle = !angle
		}
		u := quantity.MM
		if angle {
			u = quantity.Deg
		}
		steps = append(steps, l.text+": "+Result{Unit: u, Value: x}.Say(v.unit))
	}
	if !angle {
		return nil, fmt.Errorf("the chain ends at a travel: its last arm is missing, the one that turns the wheel's shaft")
	}
	wheel, err := v.positive("wheel")
	if err != nil {
		return nil, err
	}
	a.list("steps", "along the chain", steps)
	a.value("degrees", "lash at the steering wheel", quantity.Deg, x)
	rim := x * math.Pi / 180 * wheel / 2
	a.length("rim_travel", "travel at the rim", rim)
	a.note("the whole lash at the rim, engine running with power steering, is what these rules mean; this is the share of the plays named here")
	a.assume("arms square to their rods, small angles, nothing springs; plays in one chain add up")
	return a, nil
}

// judgeLash compares the travel at the rim, its ± counted, with both tables.
func judgeLash(v *values, a *Answer) {
	rim, _ := a.Result("rim_travel")
	wheel := v.num("wheel")
	stays := "this joint's share stays within it"
	if rim.U95 > 0 {
		stays += ", its ± counted"
	}
	for _, x := range []struct {
		key, rule string
		column    func(lashLimit) float64
	}{
		{"393_209", "393.209, " + v.text("steering") + " steering", func(l lashLimit) float64 {
			if v.text("steering") == "power" {
				return l.power
			}
			return l.manual
		}},
		{"570_7", "570.7", func(l lashLimit) float64 { return l.other }},
	} {
		limit, row := lashLimitFor(wheel, x.column)
		a.settle("limit_"+x.key, fmt.Sprintf("for information: 49 CFR %s, %s", x.rule, rowName(row, wheel)), limit)
		a.flag("within_"+x.key, stays, rim.Value+rim.U95 <= limit)
	}
}

// rowName says which row of a table (in) a wheel (mm) takes its limit from.
func rowName(in, wheel float64) string {
	name := "wheel of " + strconv.FormatFloat(in, 'f', -1, 64) + " in"
	if in == lashLimits[0].wheel {
		name += " or less"
	}
	if wheel > in*25.4+0.5 {
		name += " (the row below this wheel's size)"
	}
	return name
}

func at(angle bool) string {
	if angle {
		return "an angle, so a play there is in deg"
	}
	return "a travel, so a play there is in mm or in"
}
