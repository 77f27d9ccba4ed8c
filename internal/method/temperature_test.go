package method

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thouwright/internal/metal"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// published reads a reference file by its first column.
func published(t *testing.T, file string) map[string][]string {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	m := map[string][]string{}
	for _, row := range rows {
		m[row[0]] = row
	}
	return m
}

func expansion(t *testing.T, name string) Known {
	t.Helper()
	m, ok := metal.Find(name)
	if !ok {
		t.Fatal(name)
	}
	return Known{Value: m.Alpha}
}

func uOf(b metrology.Budget, name string) (u float64) {
	for _, p := range b {
		if p.Name == name {
			u = math.Hypot(u, p.U)
		}
	}
	return u
}

// An aluminium part of 100 mm and a steel scale, both at 25 °C: what is
// read is 100 mm again at 20 °C, whether the scale shows it or a steel master of
// 100 mm is 6.05 µm smaller than the part.
func TestAWarmReadingIsReferredTo20(t *testing.T) {
	reads, err := strconv.ParseFloat(published(t, "temperature.csv")["scale.aluminium"][2], 64)
	if err != nil {
		t.Fatal(err)
	}
	w := Warmth{Given: true, Room: Known{Value: 25}, Part: Body{Expansion: expansion(t, "aluminium"), InRoom: true}, Reference: Body{Expansion: expansion(t, "steel"), InRoom: true}}
	s := Spec{Unit: quantity.MM, Warmth: w}
	if got, b := s.At20(reads); math.Abs(got-100) > 1e-6 || len(b) != 0 {
		t.Errorf("100 mm of aluminium read as %.6f: %.7f at 20 °C, %v", reads, got, b)
	}
	// The difference is read as one of two lengths, both at 25 °C.
	s.HasMaster, s.Master = true, 100
	d := 100*(1+23.6e-6*5) - 100*(1+11.5e-6*5)
	if got, _ := s.At20(100 + d); math.Abs(got-100) > 1e-9 {
		t.Errorf("against a steel master: %.7f at 20 °C", got)
	}
	// In inches it is the same.
	s.Unit, s.Master = quantity.In, 100/25.4
	if got, _ := s.At20((100 + d) / 25.4); math.Abs(got*25.4-100) > 1e-9 {
		t.Errorf("in inches: %.7f mm at 20 °C", got*25.4)
	}
}

// The end gauge of JCGM 100, H.1: a block of 50 mm against a master of the same
// steel at 19.9 °C, known to a standard uncertainty of 0.41 °C. Their difference in
// temperature lies within 0.05 °C and that in expansion within 1e-6/°C.
func TestTheEndGaugeOfTheGuide(t *testing.T) {
	rows := published(t, "temperature.csv")
	want := func(id string) float64 {
		v, err := strconv.ParseFloat(rows[id][2], 64)
		if err != nil {
			t.Fatal(id, err)
		}
		return v
	}
	const nm = 1e6
	steel := Known{Value: 11.5e-6}
	w := Warmth{Given: true, ByMaster: true, Room: Known{Value: 19.9, U95: 0.41 * 1.959964},
		Part:      Body{Expansion: Known{Value: 11.5e-6, Half: 1e-6}, InRoom: true},
		Reference: Body{Expansion: steel, InRoom: true}}
	s := Spec{Unit: quantity.MM, HasMaster: true, Master: 50.000623, Warmth: w}
	l, b := s.At20(50.000623 + 0.000215)
	if math.Abs(l-50.000838) > 1e-9 {
		t.Errorf("the block is %.7f mm", l)
	}
	if got := uOf(b, "temperature, room") * nm; got > 0.01 {
		t.Errorf("two steels alike share the room: %.3f nm", got)
	}
	if got, w := uOf(b, "temperature, expansion of the part")*nm, math.Hypot(want("gum.h1.dalpha"), want("gum.h1.second")); math.Abs(got-w) > 0.2 {
		t.Errorf("expansion %.2f nm, the guide %.2f", got, w)
	}
	s.Warmth.Room = Known{Value: 19.9} // known exactly: first order alone
	_, b = s.At20(50.000838)
	if got, w := uOf(b, "temperature, expansion of the part")*nm, want("gum.h1.dalpha"); math.Abs(got-w) > 0.05 {
		t.Errorf("expansion %.2f nm, the guide %.2f", got, w)
	}
	s.Warmth = w
	// The block was handled so that 0 to 0.1 °C are left of it.
	s.Warmth.Since = 3600
	s.Warmth.From = 19.9 + 0.1/left(3600, 50.000838)
	_, b = s.At20(50.000838)
	if got, w := uOf(b, "temperature, handling")*nm, want("gum.h1.dtheta"); math.Abs(got-w) > 0.05 {
		t.Errorf("temperatures apart %.2f nm, the guide %.2f", got, w)
	}
}

// Drawn at random as the sheet claims, the true size lies within U95 of the result
// in 95 % of the cases.
func TestSizesAt20CoverTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(20, 1))
	draw := func(k Known) float64 {
		if k.U95 > 0 {
			return k.Value + k.U95/1.959964*r.NormFloat64()
		}
		return k.Value + k.Half*(2*r.Float64()-1)
	}
	bronze, iron, steel := Known{Value: 18e-6, Half: 1.8e-6}, Known{Value: 11.4e-6, U95: 1e-6}, Known{Value: 11.5e-6, Half: 1.15e-6}
	for name, s := range map[string]Spec{
		"own temperature": {Unit: quantity.MM, Warmth: Warmth{Room: Known{Value: 16, Half: 1}, Part: Body{Expansion: bronze, Temp: Known{Value: 27, U95: 0.8}}, Reference: Body{Expansion: steel, InRoom: true}}},
		"handled":         {Unit: quantity.MM, Warmth: Warmth{Room: Known{Value: 16, Half: 1}, Part: Body{Expansion: iron, InRoom: true}, Reference: Body{Expansion: steel, InRoom: true}, Since: 7200, From: 60}},
		"against master":  {Unit: quantity.MM, HasMaster: true, Master: 40, Warmth: Warmth{ByMaster: true, Room: Known{Value: 28, U95: 1}, Part: Body{Expansion: bronze, InRoom: true}, Reference: Body{Expansion: steel, Temp: Known{Value: 21, Half: 0.5}}, Since: 86400, From: 33}},
		"one room":        {Unit: quantity.MM, Warmth: Warmth{Room: Known{Value: 10, Half: 4}, Part: Body{Expansion: bronze, InRoom: true}, Reference: Body{Expansion: steel, InRoom: true}, Since: 86400, From: 10}},
	} {
		s.Warmth.Given = true
		const n, truth = 4000, 40.02
		inside, halves := 0, []float64(nil)
		for range n {
			w := s.Warmth
			room := draw(w.Room)
			at := func(b Body) float64 {
				if b.InRoom {
					return room
				}
				return draw(b.Temp)
			}
			part := at(w.Part)
			if w.Part.InRoom && w.Since > 0 {
				part += (w.From - w.Room.Value) * left(w.Since, truth) * r.Float64()
			}
			grown := truth * (1 + draw(w.Part.Expansion)*(part-20))
			scale := 1 + draw(w.Reference.Expansion)*(at(w.Reference)-20)
			read := grown / scale
			if s.HasMaster {
				read = s.Master + grown - s.Master*scale
			}
			got, b := s.At20(read)
			c := b.Combine()
			halves = append(halves, c.U95)
			if math.Abs(got-truth) <= c.U95 {
				inside++
			}
		}
		slices.Sort(halves)
		share := float64(inside) / n
		t.Logf("%s: %.1f %% within ±%.2f µm", name, 100*share, 1000*halves[n/2])
		if share < 0.94 || share > 0.965 {
			t.Errorf("%s: %.1f %% of the sizes lie within U95", name, 100*share)
		}
	}
}

// A part that lay long has the room's temperature, one just handled may have all
// of the hand's; the more time, the less is left, and never less than nothing.
func TestHandlingWearsOff(t *testing.T) {
	before := 1.0
	for _, h := range []float64{0.01, 0.5, 2, 8, 24, 72} {
		now := left(h*3600, 30)
		if now < 0 || now >= before {
			t.Errorf("after %g h %.3f is left, before that %.3f", h, now, before)
		}
		if thick := left(h*3600, 90); thick < now {
			t.Errorf("after %g h a thick part has cooled further than a thin one", h)
		}
		before = now
	}
	if before > 1e-6 {
		t.Errorf("after three days %.2g is left", before)
	}
}

// The take says what was corrected, and its budget why it is not surer.
func TestASizeIsReferredTo20(t *testing.T) {
	w := Warmth{Given: true, Room: Known{Value: 18, U95: 1}, Part: Body{Expansion: Known{Value: 18e-6, Half: 1.8e-6}, Temp: Known{Value: 30, U95: 0.5}}, Reference: Body{Expansion: Known{Value: 11.5e-6, Half: 1.15e-6}, InRoom: true}}
	z := newSizer(t, Spec{Gauge: Gauge{HasError: true}, Warmth: w}, 0.001)
	for range 3 {
		z.gauge(30)
	}
	r := z.out.Result
	if r == nil {
		t.Fatal("no size")
	}
	// By hand: 30 (1 - 2 · 11.5e-6) / (1 + 10 · 18e-6) = 29.993911.
	near(t, "the size at 20 °C", math.Round(r.Value*1e6)/1e6, 29.993911)
	if len(r.Extras) != 1 || r.Extras[0].Quantity != "correction to 20 °C" || math.Abs(r.Extras[0].Value+0.006089) > 1e-6 || !strings.Contains(r.Note, "20 °C") {
		t.Errorf("extras %+v, note %q", r.Extras, r.Note)
	}
	// By hand: 30 · 18e-6 · 0.5/1.96 of the part, 30 · 11.5e-6 · 1/1.96 of the gauge.
	for name, want := range map[string]float64{"temperature, part": 0.000138, "temperature, room": 0.000176, "temperature, expansion of the part": 0.000312} {
		if got := z.part(name); math.Abs(got-want) > 1e-6 {
			t.Errorf("%s: %.6f, by hand %.6f", name, got, want)
		}
	}
}

// A budget is written in the size's own unit: half a degree does not stand in it as
// half a millimetre.
func TestTemperaturesStandInTheSizesUnit(t *testing.T) {
	w := Warmth{Given: true, Room: Known{Value: 20, Half: 1}, Part: Body{Expansion: Known{Value: 23.6e-6, Half: 2.36e-6}, Temp: Known{Value: 24, U95: 1}}, Reference: Body{Expansion: Known{Value: 11.5e-6, Half: 1.15e-6}, InRoom: true}}
	_, b := w.at20(30, 30, quantity.MM)
	want := map[string]float64{ // by hand: 30 mm times what each leaves open
		"temperature, room": 30 * 11.5e-6 * 1, "temperature, part": 30 * 23.6e-6 / 1.959964,
		"temperature, expansion of the part": 30 * 2.36e-6 * math.Sqrt(4*4+1/(1.959964*1.959964)), "temperature, expansion of the gauge": 30 * 1.15e-6 / math.Sqrt(3),
	}
	for _, p := range b {
		if math.Abs(p.Value-want[p.Name]) > 1e-3*want[p.Name] || math.Abs(p.Value/p.Divisor-p.U) > 1e-12 {
			t.Errorf("%+v, by hand %.6f", p, want[p.Name])
		}
		delete(want, p.Name)
	}
	if len(want) > 0 {
		t.Errorf("not in the budget: %v", want)
	}
}
