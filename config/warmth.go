package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"thouwright/internal/form"
	"thouwright/internal/metal"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// Thermal is what a component or one of its checks says of the part's material and
// warmth; a check's own word goes before its component's.
type Thermal struct {
	Material      *Material          // what it is made of
	Temperature   *quantity.Measured // the part's own, measured
	SinceHandling *Handling          // else it lies in the room, for so long
}

// Material is a metal of the table, or its expansion: "17.2 um/m/degC", "17.2 ±
// 0.4 um/m/degC".
type Material struct {
	Alpha float64 // 1/°C
	U95   float64 // 1/°C; 0 where not given
	Text  string  // as it was written
}

// expansionUnits are the ways to write the unit of linear expansion.
var expansionUnits = []string{"um/m/degC", "µm/m/degC", "um/m/°C", "µm/m/°C", "um/m/K", "µm/m/K"}

// UnmarshalText reads "cast iron" or "17.2 um/m/degC".
func (m *Material) UnmarshalText(b []byte) error {
	s := strings.TrimSpace(string(b))
	if x, ok := metal.Find(s); ok {
		*m = Material{Alpha: x.Alpha, Text: s}
		return nil
	}
	number := ""
	for _, u := range expansionUnits {
		if n, ok := strings.CutSuffix(s, u); ok {
			number = n
		}
	}
	if number == "" {
		if w := form.Likely(s, metal.Names()); w != "" {
			return fmt.Errorf("found %q, which is not in the table of metals; did you mean %q?", s, w)
		}
		return fmt.Errorf("found %q, expected a metal of the table (%s), or its expansion, such as 17.2 um/m/degC", s, strings.Join(metal.Names(), ", "))
	}
	v, err := quantity.ParseMeasured(number)
	if err != nil || v.Unit != quantity.None {
		return fmt.Errorf("found %q, expected an expansion such as 17.2 um/m/degC or 17.2 ± 0.4 um/m/degC", s)
	}
	*m = Material{Alpha: v.Value.Float() * 1e-6, U95: v.U95.Float() * 1e-6, Text: s}
	if m.Alpha < -5e-6 || m.Alpha > 300e-6 || m.U95 > 100e-6 {
		return fmt.Errorf("found %q: no material expands so; steel has 11.5 um/m/degC, plastics up to 200", s)
	}
	return nil
}

// MarshalText writes what UnmarshalText read.
func (m Material) MarshalText() ([]byte, error) { return []byte(m.Text), nil }

// String is the text as it was written.
func (m Material) String() string { return m.Text }

// FormExample is shown where something else than text was found.
func (m *Material) FormExample() string { return `"steel" or "17.2 um/m/degC"` }

// expansionShare: a metal's table value may be off by this part of itself, of
// whatever alloy it is (common practice, no source; JCGM 100, H.1, allows 17 % for
// a steel of unknown make).
const expansionShare = 0.10

func (m Material) known() method.Known {
	if m.U95 > 0 {
		return method.Known{Value: m.Alpha, U95: m.U95}
	}
	return method.Known{Value: m.Alpha, Half: math.Abs(m.Alpha) * expansionShare}
}

// Handling is how long ago a part was handled, machined or heated, and how warm it
// then was at most: "2 h", "40 min from 60 degC".
type Handling struct {
	Seconds float64
	From    *quantity.Quantity // nil: the warmth of a hand
	Text    string             // as it was written
}

// handTemp is as warm as a hand can make a part, °C (from memory).
const handTemp = 33.0

var timeUnits = map[string]float64{"s": 1, "min": 60, "h": 3600, "d": 86400}

// UnmarshalText reads "2 h" or "40 min from 60 degC".
func (h *Handling) UnmarshalText(b []byte) error {
	s := strings.TrimSpace(string(b))
	bad := fmt.Errorf("found %q, expected how long ago, such as 2 h or 40 min, and where it was warmer than a hand from what, as in 40 min from 60 degC", s)
	span, from, warm := strings.Cut(s, " from ")
	number, unit, _ := strings.Cut(strings.TrimSpace(span), " ")
	v, err := strconv.ParseFloat(number, 64)
	k, ok := timeUnits[strings.TrimSpace(unit)]
	if err != nil || !ok || !(v > 0) || v*k > 1e8 {
		return bad
	}
	*h = Handling{Seconds: v * k, Text: s}
	if warm {
		q, err := quantity.ParseQuantity(from)
		if err != nil || q.Unit.Kind() != quantity.Temperature {
			return bad
		}
		h.From = &q
	}
	return nil
}

// MarshalText writes what UnmarshalText read.
func (h Handling) MarshalText() ([]byte, error) { return []byte(h.Text), nil }

// String is the text as it was written.
func (h Handling) String() string { return h.Text }

// FormExample is shown where something else than text was found.
func (h *Handling) FormExample() string { return `"2 h" or "40 min from 60 degC"` }

// thermalOf is what holds for a check: its own words, else its component's.
func thermalOf(comp *Component, c *Check) Thermal {
	t := Thermal{c.Material, c.Temperature, c.SinceHandling}
	if t.Material == nil {
		t.Material = comp.Material
	}
	if t.Temperature == nil && t.SinceHandling == nil {
		t.Temperature, t.SinceHandling = comp.Temperature, comp.SinceHandling
	}
	return t
}

// assumedTemp: a temperature given without its uncertainty is taken to this, °C.
const assumedTemp = 1.0

func knownTemp(m *quantity.Measured) (method.Known, error) {
	v, err := m.In(quantity.DegC)
	if err != nil || !m.HasU95 {
		return method.Known{Value: v, Half: assumedTemp}, err
	}
	k := method.Known{Value: v, U95: m.U95.Float()}
	if m.Unit == quantity.DegF {
		k.U95 *= 5.0 / 9
	}
	return k, nil
}

// gaugeMetal is what a gauge or master is made of where nothing is said.
const gaugeMetal = "steel"

// warmth is what refers a size to 20 °C; not given where the sheet does not say
// all that it takes.
func warmth(j *Job, comp *Component, c *Check, g *Gauge) (w method.Warmth, err error) {
	t := thermalOf(comp, c)
	if c.Method != method.Size || g == nil || t.lacks(j, c) != "" {
		return w, nil
	}
	w = method.Warmth{Given: true, ByMaster: c.Master != nil, Part: method.Body{Expansion: t.Material.known(), InRoom: true}}
	if j.Room != nil {
		if w.Room, err = knownTemp(j.Room); err != nil {
			return w, err
		}
	}
	if t.Temperature != nil {
		w.Part.InRoom = false
		if w.Part.Temp, err = knownTemp(t.Temperature); err != nil {
			return w, err
		}
	} else {
		w.Since, w.From = t.SinceHandling.Seconds, handTemp
		if f := t.SinceHandling.From; f != nil {
			if w.From, err = f.In(quantity.DegC); err != nil {
				return w, err
			}
		}
	}
	of, temp := g.Material, c.GaugeTemperature
	if c.Master != nil {
		of, temp = c.MasterMaterial, c.MasterTemperature
	}
	if of == nil {
		x, _ := metal.Find(gaugeMetal)
		of = &Material{Alpha: x.Alpha}
	}
	w.Reference = method.Body{Expansion: of.known(), InRoom: temp == nil}
	if temp != nil {
		w.Reference.Temp, err = knownTemp(temp)
	}
	return w, err
}

// lacks names what is missing to refer a check's sizes to 20 °C, as what to add; ""
// where nothing is.
func (t Thermal) lacks(j *Job, c *Check) string {
	reference, key := c.GaugeTemperature, "gauge_temperature"
	if c.Master != nil {
		reference, key = c.MasterTemperature, "master_temperature"
	}
	switch {
	case t.Material == nil:
		return `material = "steel" or what the part is made of`
	case t.Temperature == nil && t.SinceHandling == nil:
		return `temperature = "24 ± 1 degC", the part's own, or since_handling = "2 h", how long it has lain in the room`
	case t.Temperature == nil && j.Room == nil:
		return `room = "18 ± 1 degC" at the top of the sheet`
	case reference == nil && j.Room == nil:
		return `room = "18 ± 1 degC" at the top of the sheet, or ` + key
	}
	return ""
}

// temperature checks a temperature by itself.
func (f *finder) temperature(at []any, who, key string, m *quantity.Measured) {
	if m == nil {
		return
	}
	k, err := knownTemp(m)
	switch {
	case m.Unit.Kind() != quantity.Temperature || err != nil:
		f.add(at, "%s%s: found %q, expected a temperature with its unit, such as \"18 ± 1 degC\"", who, key, m)
	case k.Value < -40 || k.Value > 200:
		f.add(at, "%s%s: found %q: no part is measured so cold or hot", who, key, m)
	case k.U95 > 50:
		f.add(at, "%s%s: found %q: what is behind ± is how far off it may be", who, key, m)
	}
}

// thermal checks what a component or check says of its warmth.
func (f *finder) thermal(at func(string) []any, who string, t Thermal, room *quantity.Measured) {
	f.temperature(at("temperature"), who, "temperature", t.Temperature)
	if t.SinceHandling == nil {
		return
	}
	if t.Temperature != nil {
		f.add(at("since_handling"), "%sfound temperature and since_handling, expected one of the two: a part whose temperature was measured needs no other word", who)
	}
	if room == nil {
		f.add(at("since_handling"), "%ssince_handling: it has lain in a room of unknown temperature: add room = \"18 ± 1 degC\" at the top of the sheet", who)
	}
	if q := t.SinceHandling.From; q != nil {
		f.temperature(at("since_handling"), who, "since_handling", &quantity.Measured{Quantity: *q})
	}
}

// warmths checks the keys of a check that refer its sizes to 20 °C, and says where
// some are there but not all.
func (f *finder) warmths(at func(string) []any, who string, j *Job, comp *Component, c *Check) {
	f.thermal(at, who, Thermal{c.Material, c.Temperature, c.SinceHandling}, j.Room)
	f.temperature(at("gauge_temperature"), who, "gauge_temperature", c.GaugeTemperature)
	f.temperature(at("master_temperature"), who, "master_temperature", c.MasterTemperature)
	if c.Master == nil && c.MasterMaterial != nil {
		f.add(at("master_material"), "%smaster_material without master: add master = \"…\", the size it is set to", who)
	}
	if c.Master == nil && c.MasterTemperature != nil {
		f.add(at("master_temperature"), "%smaster_temperature without master: add master = \"…\", or write gauge_temperature", who)
	}
	if c.Master != nil && c.GaugeTemperature != nil {
		f.add(at("gauge_temperature"), "%sgauge_temperature with master: it is the master's that counts: write master_temperature", who)
	}
	t := thermalOf(comp, c)
	if c.Method != method.Size || j.Room == nil && t == (Thermal{}) {
		return
	}
	if lacks := t.lacks(j, c); lacks != "" && !f.torn {
		f.warn(at("name"), "%sits sizes are not referred to 20 °C: add %s", who, lacks)
	}
}
