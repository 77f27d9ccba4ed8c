package config

import (
	"fmt"
	"strings"

	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// positive are the methods whose result is never below zero; a lower limit of
// zero or less is an open end there.
var positive = map[string]bool{method.Play: true, method.RunOut: true, method.Drag: true}

// kindsOf tells what a method measures; nil where anything.
func kindsOf(m string) map[quantity.Kind]bool {
	switch m {
	case method.Play, method.EndPlay, method.RunOut, method.Size:
		return map[quantity.Kind]bool{quantity.Length: true}
	case method.Drag:
		return map[quantity.Kind]bool{quantity.Force: true, quantity.Torque: true}
	}
	return nil
}

func kindWords(m string) string {
	if m == method.Drag {
		return "a force or a torque (N, lbf, N·m, in*lbf)"
	}
	return "a length (mm, um, in, thou)"
}

// belongs refuses keys that another method uses, and asks for those that this
// one needs.
func (f *finder) belongs(at func(string) []any, who string, c *Check) {
	only := func(key string, methods ...string) bool {
		if !f.lines.Has(at(key)...) {
			return false
		}
		for _, m := range methods {
			if m == c.Method {
				return true
			}
		}
		f.add(at(key), "%s%s is for the method %s: remove it, or change method = %q", who, key, strings.Join(methods, " or "), c.Method)
		return false
	}
	measured := Methods[:len(Methods)-1]
	if c.Method != method.Derived && c.Gauge == "" {
		f.missing(at("gauge"), "%sno gauge: add gauge = \"…\" with a gauge's name from the bench file", who)
	}
	only("gauge", measured...)
	only("minus", method.Play, method.EndPlay, method.RunOut, method.Size)
	if c.Minus != "" && c.Minus == c.Gauge {
		f.add(at("minus"), "%sminus: found %q, the check's own gauge: name the second gauge, or remove the line", who, c.Minus)
	}
	only("strokes", method.Play, method.EndPlay)
	only("max_strokes", method.Play, method.EndPlay)
	only("adjuster", method.EndPlay, method.Drag)
	only("tilt", method.Play, method.EndPlay, method.RunOut)
	only("direction", method.Play, method.EndPlay, method.RunOut)
	if only("master", method.Size) && c.Master != nil {
		f.lengthOver(at("master"), who, "master", c.Master, false)
	}
	if only("master_u95", method.Size) && c.MasterU95 != nil {
		f.lengthOver(at("master_u95"), who, "master_u95", c.MasterU95, true)
		if c.Master == nil {
			f.add(at("master_u95"), "%smaster_u95 without master: add master = \"…\", the size it is set to", who)
		}
	}
	if only("sense", method.Size) && c.Sense != "" {
		f.oneOf(at("sense"), who, "sense", c.Sense, "+", "-")
	}
	if only("expect", method.Size) && c.Expect != nil && c.Expect.Unit.Kind() != quantity.Length {
		f.add(at("expect"), "%sexpect: found %q, expected a range of sizes with its unit, such as \"29.5..30.5 mm\"", who, c.Expect)
	}
	if only("turning", method.Size) && c.Turning != "" {
		f.oneOf(at("turning"), who, "turning", c.Turning, "rest", "least", "most")
	}
	for _, key := range []string{"material", "temperature", "since_handling", "gauge_temperature", "master_material", "master_temperature"} {
		only(key, method.Size)
	}
	if only("stations", method.RunOut) && c.Stations != 0 && (c.Stations < 4 || c.Stations > mostStations) {
		f.add(at("stations"), "%sstations: found %d, expected 4 to %d around one turn, such as 12", who, c.Stations, mostStations)
	}
	if only("arm", method.Drag) && c.Arm != nil {
		f.lengthOver(at("arm"), who, "arm", c.Arm, false)
	}
	if only("arm_u95", method.Drag) && c.ArmU95 != nil {
		f.lengthOver(at("arm_u95"), who, "arm_u95", c.ArmU95, true)
		if c.Arm == nil {
			f.add(at("arm_u95"), "%sarm_u95 without arm: add arm = \"…\", the distance from the axis at which the gauge pulls", who)
		}
	}
	if only("compare", method.Drag) && c.Compare != "" {
		f.oneOf(at("compare"), who, "compare", c.Compare, method.Breakaway, method.Running, method.Peak, method.OverCentre)
	}
	if c.Method == method.Derived && c.Value == "" {
		f.missing(at("value"), "%sno value: add value = 'bush[\"upper\"] - pin[\"upper\"]' or another expression of other checks' ids", who)
	}
	only("value", method.Derived)
	if c.Method == method.Derived && len(c.Positions) > 1 {
		f.add(at("positions"), "%spositions: found %d, but a derived value is one number: write a check for each, and the positions in its value", who, len(c.Positions))
	}
}

func (f *finder) lengthOver(at []any, who, key string, q *quantity.Quantity, zeroOK bool) {
	v := q.Value.Float()
	if q.Unit.Kind() != quantity.Length || v < 0 || v == 0 && !zeroOK {
		f.add(at, "%s%s: found %q, expected a length with its unit, such as %q", who, key, q, fmt.Sprintf("%s mm", q.Value))
	}
}
