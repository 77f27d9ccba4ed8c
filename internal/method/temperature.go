package method

import (
	"fmt"
	"math"

	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// ReferenceTemp is the temperature, in °C, at which sizes and their limits hold
// (ISO 1:2022).
const ReferenceTemp = 20.0

// Known is a figure with what is known of its error: U95 (normal), or Half, the
// limits of a rectangle, where it was taken from a table or assumed.
type Known struct{ Value, U95, Half float64 }

// part is what the figure's error does to a result that changes by so much per
// unit of it, in the result's unit: a budget knows no other.
func (k Known) part(name string, by float64) metrology.Part {
	by = math.Abs(by)
	if k.U95 > 0 {
		return metrology.FromU95(name, k.U95*by)
	}
	return metrology.Rect(name, k.Half*by)
}

// variance of the figure.
func (k Known) variance() float64 {
	u := k.part("", 1).U
	return u * u
}

// Body is the part that is measured, or what it is measured by: the gauge, or the
// master that the gauge was set to.
type Body struct {
	Expansion Known // linear, 1/°C
	InRoom    bool  // it has the room's temperature, but for what handling left in it
	Temp      Known // °C, where it does not
}

// Warmth is all that refers a size to 20 °C. The zero value is nothing known: the
// size stays as it was read.
type Warmth struct {
	Given     bool
	Room      Known // °C
	Part      Body
	Reference Body
	ByMaster  bool // Reference is a master
	// A part in the room was handled, machined or heated so many seconds ago and
	// was no further from the room's temperature than this one; Since is 0 where it
	// was not.
	Since float64
	From  float64 // °C
}

// Cooling of a part in still air: the temperature left falls with the time constant
// of a cylinder, heat capacity over film coefficient times volume over surface.
// Both figures are on the slow side (handbook values, from memory: steel 3.9
// MJ/(m³ K), the other metals of the table less; free convection in air 5 to 25
// W/(m² K)), and so is the size: what is measured is taken to be part of something
// twice as thick.
const (
	heatCapacity = 3.9e6
	filmLeast    = 5.0
	thicker      = 2.0
)

// left is the part of a difference of temperature that is left after so many
// seconds in a part of size mm.
func left(since, size float64) float64 {
	d := thicker * math.Abs(size) / 1000
	if d == 0 {
		return 0
	}
	return math.Exp(-since * filmLeast * 4 / (heatCapacity * d))
}

// at20 gives the size at 20 °C of one that was read, both in unit, with what
// temperatures and expansions leave open. The reference, X long at 20 °C (the
// master, or all that a gauge shows), and the part, L long, each expand:
//
//	L (1 + α_L θ_L) = X (1 + α_X θ_X) + what was read beyond X
//
// with θ the temperature less 20 °C. The expansions count with the root of θ² and
// its variance, which holds the second-order term of JCGM 100, H.1.7.
func (w Warmth) at20(read, reference float64, unit quantity.Unit) (float64, metrology.Budget) {
	partTemp, kept := w.partTemp(read, unit)
	refTemp := w.temp(w.Reference)
	aL, aX := w.Part.Expansion, w.Reference.Expansion
	tL, tX := partTemp.Value-ReferenceTemp, refTemp.Value-ReferenceTemp
	size := (reference*(1+aX.Value*tX) + read - reference) / (1 + aL.Value*tL)

	// What one degree of error of the room, the part and the reference does.
	var room, ofPart, ofRef float64
	byPart, byRef := -size*aL.Value, reference*aX.Value
	if w.Part.InRoom {
		room += byPart
	} else {
		ofPart = byPart
	}
	if w.Reference.InRoom {
		room += byRef
	} else {
		ofRef = byRef
	}
	against := "gauge"
	if w.ByMaster {
		against = "master"
	}
	const t = metrology.PartTemperature
	theta := func(v float64, k Known, more float64) float64 {
		return math.Sqrt(v*v + k.variance() + more*more/3)
	}
	return size, withoutZeros(metrology.Budget{
		w.Room.part(t+", room", room),
		partTemp.part(t+", part", ofPart),
		metrology.Rect(t+", handling", math.Abs(byPart*kept)),
		refTemp.part(t+", "+against, ofRef),
		aL.part(t+", expansion of the part", size*theta(tL, partTemp, kept)),
		aX.part(t+", expansion of the "+against, reference*theta(tX, refTemp, 0)),
	})
}

// partTemp is the part's temperature, °C, and how much of it handling may have left
// in it, up or down.
func (w Warmth) partTemp(size float64, unit quantity.Unit) (t Known, kept float64) {
	t = w.temp(w.Part)
	if w.Part.InRoom && w.Since > 0 {
		if mm, err := quantity.Convert(size, unit, quantity.MM); err == nil {
			size = mm
		}
		// It has cooled by something between all and this least: the middle is taken.
		kept = (w.From - w.Room.Value) * left(w.Since, size) / 2
		t.Value += kept
	}
	return t, kept
}

// says is what was referred to 20 °C from where.
func (w Warmth) says(size float64, unit quantity.Unit) string {
	against := "the gauge"
	if w.ByMaster {
		against = "the master"
	}
	part, _ := w.partTemp(size, unit)
	return fmt.Sprintf("referred to 20 °C, the part at %.4g °C and %s at %.4g °C", part.Value, against, w.temp(w.Reference).Value)
}

func (w Warmth) temp(b Body) Known {
	if b.InRoom {
		return w.Room
	}
	return b.Temp
}

// At20 is a size in the spec's unit as it was read, referred to 20 °C where the
// temperatures are known; else as it was.
func (s Spec) At20(read float64) (float64, metrology.Budget) {
	if !s.Warmth.Given {
		return read, nil
	}
	reference := read
	if s.HasMaster {
		reference = s.Master
	}
	return s.Warmth.at20(read, reference, s.Unit)
}
