package sums

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"thouwright/internal/metal"
	"thouwright/internal/quantity"
)

// published reads a CSV of testdata/reference whose rows begin with the id given;
// it must hold at least min of them. Columns: id, quantity, inputs, expected,
// digits, source, how verified.
func published(t *testing.T, file, id string, min int) (rows [][]string) {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range all[1:] {
		if r[0] == id {
			rows = append(rows, r)
		}
	}
	if len(rows) < min {
		t.Fatalf("%s holds %d rows %s, expected %d", file, len(rows), id, min)
	}
	return rows
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s is %v, published %v", what, got, want)
	}
}

// TestLame checks pressure, stresses and close-in against worked examples
// (testdata/reference/press.csv).
func TestLame(t *testing.T) {
	for _, id := range []string{"P.50", "P.br", "P.tim"} {
		published(t, "press.csv", id, 1) // the source lines of the figures below
	}
	a := must(t, "press", "--interference 0.018..0.059 --at 50 --housing-od 80 --bush-material steel --bush-e 206 --housing-e 206")
	p := result(t, a, "pressure")
	near(t, "least pressure", p.Low, 22.5956, 3e-6)
	near(t, "greatest pressure", p.High, 74.0634, 3e-6)
	g := result(t, a, "housing_growth")
	near(t, "least growth", g.Low, 0.01125, 1e-9)
	near(t, "greatest growth", g.High, 0.036875, 1e-9)

	a = must(t, "press", "--interference 0.050 --at 30 --bore 25 --housing-od 60 --bush-material phosphor-bronze --bush-e 110 --bush-nu 0.34 --housing-e 206 --housing-nu 0.3")
	near(t, "pressure of the bush", result(t, a, "pressure").High, 29.3070, 2e-6)
	near(t, "close-in", result(t, a, "close_in").High, 0.043597, 1e-5)

	// Radii in inches, stresses in psi; the diameters are twice the radii.
	a = must(t, "press", "--interference '0.010 in' --at '12 in' --bore '8 in' --housing-od '16 in' --bush-material steel --bush-e '30000000 psi' --housing-e '30000000 psi'")
	psi := func(mpa float64) float64 { v, _ := quantity.Convert(mpa, quantity.MPa, quantity.Psi); return v }
	near(t, "compound cylinder's pressure", psi(result(t, a, "pressure").High), 4050, 5e-4)
	near(t, "inner bore", psi(result(t, a, "bush_hoop").Low), -14580, 5e-4)
	near(t, "outer bore", psi(result(t, a, "housing_hoop").High), 14470, 5e-4)
}

// TestExpansion checks the materials' coefficients and the published lengths.
func TestExpansion(t *testing.T) {
	names := map[string]string{
		"general carbon steel": "steel", "mild steel": "mild steel", "gray iron G1800/G3000/G4000": "cast iron", "ductile iron 60-40-18": "ductile iron", "Al 6061": "aluminium",
		"Al 356.0": "cast aluminium", "bronze C93200 bearing": "bronze", "phosphor bronze C51000": "phosphor bronze", "aluminium bronze C62300": "aluminium bronze", "C36000 brass": "brass",
	}
	n := 0
	for _, r := range published(t, "expansion.csv", "CTE", 14) {
		m, ok := names[r[2]]
		if !ok {
			continue
		}
		word, _, _ := strings.Cut(r[3], " ")
		want, err := strconv.ParseFloat(word, 64)
		if err != nil {
			t.Fatal(err)
		}
		near(t, m, materialOf(m).alpha*1e6, want, 1e-12)
		n++
	}
	if n != len(metal.Names()) {
		t.Errorf("%d of %d materials have a published coefficient", n, len(metal.Names()))
	}
	// TH.1: 100 mm by 5 °C. A shaft that stays at 20 °C shows the bore's growth.
	published(t, "expansion.csv", "TH.1", 1)
	for m, um := range map[string]float64{"steel": 5.75, "aluminium": 11.8, "cast-iron": 5.7, "bronze": 9.0} {
		a := must(t, "warm", "--shaft 99 --bore 100 --shaft-temp '20 degC' --temp '25 degC' --housing-material "+m)
		near(t, m, result(t, a, "change").Low*1000, um, 1e-9)
	}
}

// TestLashLimits checks the table of both rules row by row, and the arc of 10
// degrees at a 20 in wheel.
func TestLashLimits(t *testing.T) {
	inch := func(text string) float64 {
		text = strings.TrimSpace(text)
		if i := strings.Index(text, " in"); i >= 0 {
			text = text[:i]
		}
		q, err := quantity.ParseQuantity(text + " in")
		if err != nil {
			t.Fatal(err)
		}
		v, _ := q.In(quantity.MM)
		return v
	}
	diameter := func(r []string) string {
		d := strings.Fields(strings.TrimPrefix(r[2], "wheel dia "))[0]
		return d + " in"
	}
	for _, r := range published(t, "lash.csv", "L.393", 6) {
		manual, power, ok := strings.Cut(r[3], ";")
		if !ok {
			t.Fatalf("row %v", r)
		}
		for steering, text := range map[string]string{"manual": manual, "power": power} {
			a := must(t, "lash", "--chain 'play 10 deg' --wheel '"+diameter(r)+"' --steering "+steering)
			want := inch(strings.TrimPrefix(strings.TrimSpace(text), steering))
			near(t, steering+" at "+diameter(r), result(t, a, "limit_393_209").Value, want, 1e-12)
		}
	}
	for _, r := range published(t, "lash.csv", "L.570", 4) {
		a := must(t, "lash", "--chain 'play 10 deg' --wheel '"+diameter(r)+"'")
		near(t, "570.7 at "+diameter(r), result(t, a, "limit_570_7").Value, inch(r[3]), 1e-12)
	}
	published(t, "lash.csv", "L.cdl", 1)
	a := must(t, "lash", "--chain 'play 10 deg' --wheel '20 in'")
	near(t, "10 deg at a 20 in wheel", result(t, a, "rim_travel").Value/25.4, 1.745, 5e-4)
	// A wheel between two rows takes the smaller, stricter one; in mm too.
	for wheel, want := range map[string]float64{"14 in": 2, "17 in": 2, "17.9 in": 2, "457 mm": 2.25, "483 mm": 2.375, "19.5 in": 2.375, "26 in": 2.75} {
		a := must(t, "lash", "--chain 'play 1 deg' --wheel '"+wheel+"'")
		near(t, wheel, result(t, a, "limit_393_209").Value/25.4, want, 1e-12)
	}
}

// TestISO370 checks both ways of rounding limits (testdata/reference/iso370.csv).
func TestISO370(t *testing.T) {
	for _, id := range []string{"I370.A", "I370.B", "I370.T", "I370.in"} {
		published(t, "iso370.csv", id, 1)
	}
	for _, x := range []struct{ line, want string }{
		{"1.934..1.966 in --to mm", "49.12..49.94 mm"},
		{"1.934..1.966 in --to mm --inward", "49.13..49.93 mm"},
		{"1.950 ± 0.016 in --to mm --inward", "49.13..49.93 mm"},
		{"10.7..11.3 mm --to in --places 3", "0.421..0.445 in"},
		{"10.7..11.3 mm --to in --places 3 --inward", "0.422..0.444 in"},
		// The fineness by the tolerance in inches.
		{"1.00000..1.00005 in --to mm", "25.40000..25.40127 mm"},
		{"1.0000..1.0005 in --to mm", "25.4000..25.4127 mm"},
		{"1.000..1.005 in --to mm", "25.400..25.527 mm"},
		{"1.00..1.05 in --to mm", "25.40..26.67 mm"},
		{"1.0..1.5 in --to mm", "25.4..38.1 mm"},
	} {
		a := must(t, "convert", x.line)
		if got := result(t, a, "text").Text; got != x.want {
			t.Errorf("convert %s gives %s, published %s", x.line, got, x.want)
		}
	}
	a := must(t, "convert", "1.934..1.966 in --to mm --inward")
	if got := result(t, a, "lost").Exact.String(); got != "0.01280" { // 0.8128 - 0.80
		t.Errorf("lost %s mm, expected 0.01280", got)
	}
}
