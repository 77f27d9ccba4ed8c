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
