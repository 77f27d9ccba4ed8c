package metrology

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"thouwright/internal/quantity"
)

// readTable reads a file of testdata/reference as maps by column; every row has
// a source and says how it was verified.
func readTable(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, c := range rows[0] {
			m[c] = row[i]
		}
		out = append(out, m)
	}
	return out
}

// TestEveryRowHasASource: whatever is compared with the outside world says where
// it comes from, in its row; a data set says so once, in its head.
func TestEveryRowHasASource(t *testing.T) {
	dataSets := map[string]bool{"circle_constructed16.csv": true, "study_10x3x3.csv": true}
	n := 0
	for _, pattern := range []string{"*.csv", "*/*.csv"} {
		files, err := filepath.Glob("../../testdata/reference/" + pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if dataSets[filepath.Base(file)] {
				if b, err := os.ReadFile(file); err != nil || !strings.HasPrefix(string(b), "# ") {
					t.Errorf("%s has no line on top that says where it comes from (%v)", file, err)
				}
				continue
			}
			n++
			for i, r := range readTable(t, strings.TrimPrefix(file, "../../testdata/reference/")) {
				if strings.TrimSpace(r["source"]) == "" {
					t.Errorf("%s: row %d (%v) has no source", file, i+1, r)
				}
			}
		}
	}
	if n < 18 {
		t.Errorf("only %d files", n)
	}
}

func number(t *testing.T, s string, empty float64) float64 {
	t.Helper()
	if s == "" {
		return empty
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestConformanceExamples(t *testing.T) {
	for _, r := range readTable(t, "conformance.csv") {
		c := Budget{Gauss("u", number(t, r["u"], 0))}.Combine()
		_, in, _ := c.Prob(number(t, r["y"], 0), number(t, r["low"], math.Inf(-1)), number(t, r["high"], math.Inf(1)))
		near(t, r["id"]+" ("+r["source"]+")", in, number(t, r["p_in"], 0), number(t, r["tolerance"], 0))
	}
}

func TestGuardFactors(t *testing.T) {
	c := Budget{Gauss("u", 1)}.Combine()
	for _, r := range readTable(t, "guard.csv") {
		w := number(t, r["t_over_u"], 0)
		low, high, empty := passing(c, Limits{0, w}, 0.95)
		if empty {
			t.Errorf("T/u = %v: no zone", w)
			continue
		}
		near(t, "guard at T/u "+r["t_over_u"], low, number(t, r["guard_over_u"], 0), number(t, r["tolerance"], 0))
		near(t, "the other guard", w-high, low, 1e-9)
	}
	if _, _, empty := passing(c, Limits{0, 3.919}, 0.95); !empty {
		t.Error("T/u = 3.919 has a zone")
	}
	if _, _, empty := passing(c, Limits{0, 3.921}, 0.95); empty {
		t.Error("T/u = 3.921 has no zone")
	}
}

// GUM Table G.2: quantiles of Student's t, through Combine.
func TestStudentTable(t *testing.T) {
	fractions := map[string]float64{"p68.27": math.Erf(1 / math.Sqrt2), "p90": 0.90, "p95": 0.95, "p95.45": math.Erf(2 / math.Sqrt2), "p99": 0.99, "p99.73": math.Erf(3 / math.Sqrt2)}
	n := 0
	for _, r := range readTable(t, "gum_table_g2_student_t.csv") {
		dof := math.Inf(1)
		if r["nu"] != "inf" {
			dof = number(t, r["nu"], 0)
		}
		c := Budget{Student("s", 1, dof)}.Combine()
		for col, p := range fractions {
			near(t, "t "+col+" at "+r["nu"], c.halfWidth(p), number(t, r[col], 0), 0.6e-4*max(1, number(t, r[col], 0)/10))
			n++
		}
	}
	if n != 28*6 {
		t.Errorf("%d values checked, want 168", n)
	}
}

// expected is uncertainty.csv by id.
func expected(t *testing.T) func(id string, got float64) {
	rows := map[string]map[string]string{}
	for _, r := range readTable(t, "uncertainty.csv") {
		rows[r["id"]] = r
	}
	seen := map[string]bool{}
	t.Cleanup(func() {
		for id := range rows {
			if !seen[id] {
				t.Errorf("%s is checked by nothing", id)
			}
		}
	})
	return func(id string, got float64) {
		t.Helper()
		r, ok := rows[id]
		if !ok {
			t.Fatalf("no row %s", id)
		}
		seen[id] = true
		near(t, id+" ("+r["source"]+")", got, number(t, r["expected"], 0), number(t, r["tolerance"], 0))
	}
}

func TestPublishedUncertainties(t *testing.T) {
	want := expected(t)

	// JCGM 100, H.1: the end gauge. Lengths in nm over the standard's nominal
	// 50 mm; d(alpha) and d(theta) as the annex gives them.
	const nominal = 50e6
	h1 := []Input{
		{Name: "standard", Value: 623, Budget: Budget{Student("u", 25, 18)}},
		{Name: "difference", Value: 215, Budget: Budget{Student("read", 5.8, 24), Student("random", 3.9, 5), Student("systematic", 6.7, 8)}},
		{Name: "d alpha", Value: 0, Budget: Budget{withDof(Rect("u", 1e-6), 50)}},
		{Name: "theta", Value: -0.1, Budget: Budget{Gauss("u", 0.41)}},
		{Name: "alpha", Value: 11.5e-6, Budget: Budget{Rect("u", 2e-6)}},
		{Name: "d theta", Value: 0, Budget: Budget{withDof(Rect("u", 0.05), 2)}},
	}
	length := func(x []float64) (float64, error) {
		return x[0] + x[1] - (nominal+x[0])*(x[2]*x[3]+x[4]*x[5]), nil
	}
	x := make([]float64, len(h1))
	for i := range h1 {
		x[i] = h1[i].Value
	}
	value, _ := length(x)
	p, straight, err := firstOrder(length, h1, x, value)
	if err != nil {
		t.Fatal(err)
	}
	if straight {
		t.Error("H.1 passes for straight; H.1.7 says that its second-order terms count")
	}
	want("gum.h1.l_minus_nominal", p.Value)
	want("gum.h1.u_c", p.Combined.U)
	want("gum.h1.dof", p.Combined.DofEff)
	for id, input := range map[string]string{"standard": "standard", "difference": "difference", "d_alpha": "d alpha", "d_theta": "d theta"} {
		squares := 0.0
		for _, part := range p.Budget {
			if strings.HasPrefix(part.Name, input+": ") {
				squares += part.U * part.U
			}
		}
		want("gum.h1."+id, math.Sqrt(squares))
	}
	t99 := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: math.Floor(p.Combined.DofEff)}.Quantile(0.995)
	want("gum.h1.U99", t99*p.Combined.U)
	secondOrder(t, length, h1, want)

	// JCGM 100, 4.4.3: twenty temperatures.
	var temps []quantity.Decimal
	for _, s := range []string{"96.90", "98.18", "98.25", "98.61", "99.03", "99.49", "99.56", "99.74", "99.89", "100.07", "100.33", "100.42", "100.68", "100.95", "101.11", "101.20", "101.57", "101.84", "102.36", "102.72"} {
		d, err := quantity.ParseDecimal(s)
		if err != nil {
			t.Fatal(err)
		}
		temps = append(temps, d)
	}
	s := Describe(temps)
	want("gum.443.mean", s.Mean)
	want("gum.443.s", s.SD)
	want("gum.443.s_mean", s.SD/math.Sqrt(float64(s.N)))

	// JCGM 100, G.4.1.
	g41 := Budget{Student("a", 0.25, 9), Student("b", 0.57, 4), Student("c", 0.82, 14)}.Combine()
	want("gum.g41.u_c", g41.U)
	want("gum.g41.dof", g41.DofEff)
	want("gum.g41.U95", g41.U*distuv.StudentsT{Mu: 0, Sigma: 1, Nu: 19}.Quantile(0.975))

	// The shapes: a digital step of 1 is a rectangle of half of it.
	want("gum.f221.step", Budget{Rect("step", 0.5)}.Combine().U)
	want("gum.437.rectangle", Rect("alpha", 2).U)
	want("gum.439.triangle", Budget{Tri("triangle", 1)}.Combine().U)

	// JCGM 101, 9.2: four normals, four rectangles, each of variance 1.
	normals := Budget{Gauss("1", 1), Gauss("2", 1), Gauss("3", 1), Gauss("4", 1)}.Combine()
	want("jcgm101.922.u", normals.U)
	want("jcgm101.922.U95", normals.U95)
	h := math.Sqrt(3)
	rects := Budget{Rect("1", h), Rect("2", h), Rect("3", h), Rect("4", h)}.Combine()
	want("jcgm101.923.u", rects.U)
	want("jcgm101.923.U95", rects.U95)

	gaugeBlock101(t, want)

	// ILAC G8: risk at the limit after a guard of r U, U = 2 u.
	one := Budget{Gauss("u", 1)}.Combine()
	for id, r := range map[string]float64{"ilac.g8.r0": 0, "ilac.g8.r083": 0.83, "ilac.g8.r1": 1, "ilac.g8.r15": 1.5, "ilac.g8.r3": 3} {
		_, _, above := one.Prob(-2*r, math.Inf(-1), 0)
		want(id, above)
	}
	for _, p := range []string{"0.8", "0.9", "0.95", "0.99", "0.999"} {
		want("jcgm106.t1."+p, one.Quantile(number(t, p, 0)))
	}
	want("iso14253.min_T_over_u", 2*one.halfWidth(0.95))

	// EA-4/02 S10, the caliper: reading 0.05 mm, mechanics ±50 µm, block
	// ±0.8 µm, 2 K over 150 mm of steel (11.5e-6/K).
	s10 := Budget{Rect("block", 0.0008), Rect("temperature", 150*11.5e-6*2), Rect("reading", 0.025), Rect("mechanics", 0.05)}.Combine()
	want("ea402.s10.u", s10.U)
	want("ea402.s10.U95", s10.U95)
}

// secondOrder is JCGM 100, H.1.7: what the products of the end gauge add to first
// order. The annex combines standard uncertainties, so no part has Student's tails
// here.
func secondOrder(t *testing.T, length func([]float64) (float64, error), in []Input, want func(string, float64)) {
	u := func(in []Input) float64 {
		p, err := Propagate(length, in, true, 1)
		if err != nil {
			t.Fatal(err)
		}
		if !p.Sampled {
			t.Error("a product about zero went through first order")
		}
		return p.Combined.U
	}
	flat := slices.Clone(in)
	for i := range flat {
		flat[i].Budget = slices.Clone(flat[i].Budget)
		for k := range flat[i].Budget {
			p := &flat[i].Budget[k]
			if p.Dof = math.Inf(1); p.Shape == StudentT {
				p.Shape = Normal
			}
		}
	}
	want("gum.h1.u_c_second", u(flat))
	// Each product by itself, both factors about zero: nothing of first order is left.
	for id, factors := range map[string][2]string{"second_d_alpha": {"d alpha", "theta"}, "second_d_theta": {"alpha", "d theta"}} {
		alone := slices.Clone(flat)
		for i := range alone {
			alone[i].Value = 0
			if alone[i].Name != factors[0] && alone[i].Name != factors[1] {
				alone[i].Budget = nil
			}
		}
		want("gum.h1."+id, u(alone))
	}
}

func withDof(p Part, dof float64) Part { p.Dof = dof; return p }

// gaugeBlock101 is JCGM 101, 9.5: the end gauge by Monte Carlo, with the
// supplement's own distributions (the arc sine and the trapezoids with inexact
// limits are drawn here).
func gaugeBlock101(t *testing.T, want func(string, float64)) {
	ctrap := func(a, b, d float64) func(r *rand.Rand) float64 { // JCGM 101, 6.4.3
		return func(r *rand.Rand) float64 {
			as := (a - d) + 2*d*r.Float64()
			bs := (a + b) - as
			return as + (bs-as)*r.Float64()
		}
	}
	const nominal = 50e6
	in := []Input{
		{Name: "standard", Value: 623, Budget: Budget{Student("u", 25, 18)}},
		{Name: "D", Value: 215, Budget: Budget{Student("u", 6, 24)}},
		{Name: "d1", Budget: Budget{Student("u", 4, 5)}},
		{Name: "d2", Budget: Budget{Student("u", 7, 8)}},
		{Name: "alpha", Value: 11.5e-6, Budget: Budget{Rect("u", 2e-6)}},
		{Name: "theta0", Value: -0.1, Budget: Budget{Gauss("u", 0.2)}},
		{Name: "cycle", Draw: func(r *rand.Rand) float64 { return 0.5 * math.Sin(2*math.Pi*r.Float64()) }},
		{Name: "d alpha", Draw: ctrap(-1e-6, 1e-6, 0.1e-6)},
		{Name: "d theta", Draw: ctrap(-0.050, 0.050, 0.025)},
	}
	f := func(x []float64) (float64, error) {
		ls := nominal + x[0]
		return x[0] + x[1] + x[2] + x[3] - ls*(x[7]*(x[5]+x[6])+x[4]*x[8]), nil
	}
	p, err := Propagate(f, in, true, 101)
	if err != nil {
		t.Fatal(err)
	}
	if !p.Sampled {
		t.Error("draws of its own did not lead to Monte Carlo")
	}
	want("jcgm101.95.mean", p.Mean)
	want("jcgm101.95.u", p.Combined.U)
	// The shortest 99 % interval.
	y := p.Combined.sample
	q := int(0.99 * float64(len(y)))
	best := 0
	for i := 0; i+q < len(y); i++ {
		if y[i+q]-y[i] < y[best+q]-y[best] {
			best = i
		}
	}
	want("jcgm101.95.low99", p.Value+y[best])
	want("jcgm101.95.high99", p.Value+y[best+q])
}
