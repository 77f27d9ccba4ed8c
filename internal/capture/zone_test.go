package capture

import (
	"math"
	"strings"
	"testing"

	"thouwright/internal/method"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// What a gauge can decide is said of all that will stand in the budget: the master, the
// room, a second gauge; and of a drag as of a length.
func TestTheZoneHoldsTheWholeSetUp(t *testing.T) {
	size := method.Spec{Method: method.Size, Unit: quantity.MM, Confidence: 0.95, Limits: metrology.Limits{Low: 30, High: 30.021},
		Gauge: method.Gauge{Step: 0.001, Error: 0.02, HasError: true, ErrorLocal: 0.001, HasErrorLocal: true, ErrorSpan: 0.1}}
	if line := zoneLine(size, 0.001, quantity.MM); !strings.HasPrefix(line, "this gauge can never say pass here") {
		t.Errorf("a gauge wrong by 20 µm: %q", line)
	}
	// Against a master of its size only the short movement's error counts …
	size.HasMaster, size.Master = true, 30.01
	if line := zoneLine(size, 0.001, quantity.MM); !strings.HasPrefix(line, "can pass from 30.00") {
		t.Errorf("against a master: %q", line)
	}
	far := size
	far.Master = 29.8
	if line := zoneLine(far, 0.001, quantity.MM); !strings.HasPrefix(line, "this gauge can never say pass here") {
		t.Errorf("against a master 0.2 mm away: %q", line)
	}
	// … and the master's own: 2 · 11 µm is more than the limits are apart.
	poor := size
	poor.MasterU95 = 0.011
	if line := zoneLine(poor, 0.001, quantity.MM); !strings.HasPrefix(line, "this gauge can never say pass here") {
		t.Errorf("against a poor master: %q", line)
	}
	hot := size
	hot.Warmth = method.Warmth{Given: true, Room: method.Known{Value: 20, Half: 1}, Part: method.Body{Expansion: method.Known{Value: 18e-6}, Temp: method.Known{Value: 50, U95: 25}},
		Reference: method.Body{Expansion: method.Known{Value: 11.5e-6}, InRoom: true}}
	if line := zoneLine(hot, 0.001, quantity.MM); !strings.HasPrefix(line, "this gauge can never say pass here") {
		t.Errorf("a part known to 25 °C: %q", line)
	}

	play := method.Spec{Method: method.Play, Unit: quantity.MM, Confidence: 0.95, Limits: metrology.Limits{Low: math.Inf(-1), High: 0.05},
		Gauge: method.Gauge{Step: 0.001, ErrorLocal: 0.001, HasErrorLocal: true}}
	if line := zoneLine(play, 0.001, quantity.MM); !strings.HasPrefix(line, "can pass up to 0.04") {
		t.Errorf("one good gauge: %q", line)
	}
	play.Minus = &method.Gauge{Step: 0.1, ErrorLocal: 0.1, HasErrorLocal: true}
	if line := zoneLine(play, 0.001, quantity.MM); !strings.HasPrefix(line, "this gauge can never say pass here") {
		t.Errorf("with a coarse second gauge: %q", line)
	}

	drag := method.Spec{Method: method.Drag, Unit: quantity.NM, Confidence: 0.95, Limits: metrology.Limits{Low: 0.5, High: 1},
		Gauge: method.Gauge{Step: 0.01, Error: 0.02, HasError: true}}
	if line := zoneLine(drag, 0.01, quantity.NM); !strings.HasPrefix(line, "can pass from 0.5") || !strings.Contains(line, "N·m") {
		t.Errorf("a drag: %q", line)
	}
	drag.Gauge.Error = 0.4
	if line := zoneLine(drag, 0.01, quantity.NM); !strings.HasPrefix(line, "this gauge can never say pass here") {
		t.Errorf("a drag with a gauge wrong by 0.4 N·m: %q", line)
	}
}

// The remedy is one that would help: no proof of a short movement for a size that is
// read outright, nor for a gauge that has one; and the simple rule promises nothing.
func TestTheZoneAdvisesWhatHelps(t *testing.T) {
	size := method.Spec{Method: method.Size, Unit: quantity.MM, Confidence: 0.95, Limits: metrology.Limits{Low: 31.975, High: 31.991},
		Gauge: method.Gauge{Step: 0.01, Error: 0.02, HasError: true}}
	if line := zoneLine(size, 0.01, quantity.MM); !strings.Contains(line, "compare with a master of about this size") || strings.Contains(line, "prove") {
		t.Errorf("a size read outright: %q", line)
	}
	play := method.Spec{Method: method.Play, Unit: quantity.MM, Confidence: 0.95, Limits: metrology.Limits{Low: 0.009, High: 0.020},
		Gauge: method.Gauge{Step: 0.001, Error: 0.02, HasError: true}}
	if line := zoneLine(play, 0.001, quantity.MM); !strings.Contains(line, "prove the gauge's error over a short movement") {
		t.Errorf("a whole travel's error: %q", line)
	}
	proven := play
	proven.Gauge = method.Gauge{Step: 0.001, ErrorLocal: 0.02, HasErrorLocal: true}
	if line := zoneLine(proven, 0.001, quantity.MM); !strings.HasSuffix(line, "a finer step alone would not do: use a better gauge") {
		t.Errorf("proven, and poor: %q", line)
	}
	play.Rule = metrology.Simple
	if line := zoneLine(play, 0.001, quantity.MM); strings.Contains(line, "0.0000") || !strings.Contains(line, "the result alone is compared") {
		t.Errorf("the simple rule: %q", line)
	}
}

// Of a gauge that was not seen nothing is promised, nor where a second one's step is not
// known.
func TestWhatIsSaidBeforeAGaugeIsSeen(t *testing.T) {
	s := method.Spec{Method: method.Play, Unit: quantity.MM, Confidence: 0.95, Limits: metrology.Limits{Low: 0.009, High: 0.05},
		Gauge: method.Gauge{Step: 0.001, ErrorLocal: 0.001, HasErrorLocal: true}}
	if line := Decides(s, quantity.N); !strings.HasPrefix(line, "can pass from 0.01") || !strings.Contains(line, "mm") {
		t.Errorf("a known step: %q", line)
	}
	s.Minus = &method.Gauge{ErrorLocal: 0.001, HasErrorLocal: true}
	if line := Decides(s, quantity.MM); strings.Contains(line, "can pass") {
		t.Errorf("a second gauge of no known step: %q", line)
	}
	s.Minus, s.Gauge.Step = nil, 0
	if line := Decides(s, quantity.MM); !strings.Contains(line, "known once its step is") {
		t.Errorf("no step: %q", line)
	}
	s.Limits = metrology.Limits{Low: math.Inf(-1), High: math.Inf(1)}
	if line := Decides(s, quantity.MM); line != "" {
		t.Errorf("no limits: %q", line)
	}
}

// What an angle that is only bounded, an arm, and a movement longer than error_local's
// leave open is promised to nobody.
func TestTheZoneCountsAnglesArmAndSpan(t *testing.T) {
	play := method.Spec{Method: method.Play, Unit: quantity.MM, Confidence: 0.95, Limits: metrology.Limits{Low: math.Inf(-1), High: 0.12},
		Gauge: method.Gauge{Step: 0.001, ErrorLocal: 0.001, HasErrorLocal: true, ErrorSpan: 0.25}}
	line := func(s method.Spec) string { return zoneLine(s, s.Gauge.Step, s.Unit) }
	if got := line(play); !strings.HasPrefix(got, "can pass up to 0.1188") {
		t.Errorf("square to it: %q", got)
	}
	// From cos 10° to 1/cos 20° about their middle: ± 0.0397/1.0245 of 0.12 mm, that is 0.00465.
	play.TiltMax, play.DirectionMax = 10, 20
	if got := line(play); !strings.HasSuffix(got, "limits down to 0.0043 mm") {
		t.Errorf("angles: %q", got)
	}
	play.TiltMax, play.DirectionMax = 0, 0
	play.Gauge.ErrorSpan = 0.05 // three of them in 0.12
	if got := line(play); !strings.HasPrefix(got, "can pass up to 0.117") {
		t.Errorf("span: %q", got)
	}
	drag := method.Spec{Method: method.Drag, Unit: quantity.NM, Confidence: 0.95, Limits: metrology.Limits{Low: math.Inf(-1), High: 1.8},
		Gauge: method.Gauge{Step: 0.002, Error: 0.02, HasError: true}, Arm: 200, ArmU95: 2}
	// u = √((0.02/√3)² + (0.018/1.96)² + 0.0006²) = 0.0148, and 1.645 of it.
	if got := line(drag); !strings.HasPrefix(got, "can pass up to 1.775") {
		t.Errorf("arm: %q", got)
	}
	size := method.Spec{Method: method.Size, Unit: quantity.MM, Confidence: 0.95, Limits: metrology.Limits{Low: 29.967, High: 29.991},
		Gauge: method.Gauge{Step: 0.001, ErrorLocal: 0.001, HasErrorLocal: true, ErrorSpan: 0.25}}
	if got := line(size); !strings.HasPrefix(got, "can pass from 29.96") {
		t.Errorf("a size is no movement: %q", got)
	}
}
