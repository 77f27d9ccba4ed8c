package metrology

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"thouwright/internal/quantity"
)

// NIST StRD, Statistical Reference Datasets (public domain),
// https://www.itl.nist.gov/div898/strd/: certified to 15 digits by NIST with
// 500-digit arithmetic. The files stand in testdata/reference/strd as NIST
// publishes them (PiDigits says in its head how it was rebuilt).
const strd = "../../testdata/reference/strd"

// digits is the log relative error: the number of digits that agree.
func digits(got, want float64) float64 {
	switch {
	case got == want:
		return 15
	case want == 0:
		return min(15, -math.Log10(math.Abs(got)))
	case math.IsNaN(got):
		return 0
	}
	return min(15, -math.Log10(math.Abs(got-want)/math.Abs(want)))
}

func readStrd(t *testing.T, name string) (head string, data [][]quantity.Decimal) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(strd, name+".dat"))
	if err != nil {
		t.Fatal(err)
	}
	// The data begin after the last line that starts with 'Data:' (a line of
	// dashes or of treatment numbers may follow).
	i := bytes.LastIndex(b, []byte("\nData:"))
	if i < 0 {
		t.Fatalf("%s: no data", name)
	}
	head = string(b[:i])
	sc := bufio.NewScanner(bytes.NewReader(b[i+1:]))
	sc.Scan()
	for sc.Scan() {
		f := strings.Fields(sc.Text())
		row := make([]quantity.Decimal, 0, len(f))
		for _, s := range f {
			d, err := quantity.ParseDecimal(s)
			if err != nil {
				row = nil
				break
			}
			row = append(row, d)
		}
		if len(row) > 0 {
			data = append(data, row)
		}
	}
	return head, data
}

// certified reads the number behind a label of the head; which counts from 0.
func certified(t *testing.T, head, label string, which int) float64 {
	t.Helper()
	m := regexp.MustCompile(label + `\s+(\S+(?:\s+\S+)*)`).FindStringSubmatch(head)
	if m == nil {
		t.Fatalf("no %q in the head", label)
	}
	f := strings.Fields(m[1])
	if strings.EqualFold(f[which], "infinity") {
		return math.Inf(1)
	}
	v, err := strconv.ParseFloat(f[which], 64)
	if err != nil {
		t.Fatalf("%s: %v", label, err)
	}
	return v
}

// certifiedLine reads the numbers of a line of the table of variance: degrees of
// freedom, sum of squares, mean square and, where there is one, F.
func certifiedLine(t *testing.T, head, line string) (v []float64) {
	t.Helper()
	m := regexp.MustCompile(`\n` + line + ` +(\d.*)`).FindStringSubmatch(head)
	if m == nil {
		t.Fatalf("no line %s in the table of variance", line)
	}
	for _, f := range strings.Fields(m[1]) {
		x, err := strconv.ParseFloat(f, 64)
		if err != nil && !strings.EqualFold(f, "infinity") {
			t.Fatalf("%s: %v", line, err)
		}
		v = append(v, x)
	}
	return v
}

const wantDigits = 10

func TestStrdUnivariate(t *testing.T) {
	for _, name := range []string{"Lew", "Lottery", "Mavro", "Michelso", "NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4", "PiDigits"} {
		t.Run(name, func(t *testing.T) {
			head, rows := readStrd(t, name)
			var v []quantity.Decimal
			var plain []float64
			for _, r := range rows {
				v = append(v, r[0])
				plain = append(plain, r[0].Float())
			}
			n := int(certified(t, head, `Number of Observations:`, 0))
			if len(v) != n {
				t.Fatalf("%d observations, want %d", len(v), n)
			}
			mean := certified(t, head, `Sample Mean(?:\s+ybar)?:`, 0)
			sd := certified(t, head, `n-1\)(?:\s+s)?:`, 0)
			r1 := certified(t, head, `r\(1\):`, 0)
			s := Describe(v)
			got := []float64{digits(s.Mean, mean), digits(s.SD, sd), digits(s.R1, r1)}
			for i, what := range []string{"mean", "sd", "r1"} {
				if got[i] < wantDigits {
					t.Errorf("%s: %.1f digits", what, got[i])
				}
			}
			t.Logf("digits: mean %.1f, sd %.1f, r1 %.1f; sd by gonum on plain float64: %.1f", got[0], got[1], got[2], digits(stat.StdDev(plain, nil), sd))
		})
	}
}

func TestStrdRegression(t *testing.T) {
	for _, c := range []struct {
		name     string
		degree   int // of a polynomial; 0: as many columns as there are
		constant bool
	}{
		{"Norris", 1, true}, {"Pontius", 2, true}, {"NoInt1", 0, false}, {"NoInt2", 0, false},
		{"Filip", 10, true}, {"Longley", 0, true},
		{"Wampler1", 5, true}, {"Wampler2", 5, true}, {"Wampler3", 5, true}, {"Wampler4", 5, true}, {"Wampler5", 5, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			head, rows := readStrd(t, c.name)
			var y []float64
			var x [][]float64
			for _, r := range rows {
				y = append(y, r[0].Float())
				var cols []float64
				for _, d := range r[1:] {
					cols = append(cols, d.Float())
				}
				x = append(x, cols)
			}
			var got Regression
			var err error
			if c.degree > 0 {
				xs := make([]float64, len(x))
				for i := range x {
					xs[i] = x[i][0]
				}
				got, err = Polynomial(xs, y, c.degree)
			} else {
				got, err = LeastSquares(x, y, c.constant)
			}
			if err != nil {
				t.Fatal(err)
			}
			published := regexp.MustCompile(`(\d+) Observations`).FindStringSubmatch(head)
			if published == nil || published[1] != strconv.Itoa(len(y)) {
				t.Errorf("%d observations, published %v", len(y), published)
			}
			least := 15.0
			check := func(what string, g, want float64) {
				d := digits(g, want)
				least = min(least, d)
				if d < wantDigits {
					t.Errorf("%s: %.15g, certified %.15g: %.1f digits", what, g, want, d)
				}
			}
			for i, b := range got.Coef {
				k := i
				if !c.constant {
					k++
				}
				check(fmt.Sprintf("B%d", k), b, certified(t, head, fmt.Sprintf(`\n\s*B%d`, k), 0))
				check(fmt.Sprintf("sd of B%d", k), got.SE[i], certified(t, head, fmt.Sprintf(`\n\s*B%d`, k), 1))
			}
			check("residual sd", got.SD, certified(t, head, `Residual\s+Standard Deviation`, 0))
			check("R2", got.R2, certified(t, head, `R-Squared`, 0))
			// The table of variance: what it does not hold by itself follows from
			// the residual standard deviation and F.
			model := len(got.Coef)
			if c.constant {
				model--
			}
			table := func(line string, dof int, ss, ms float64) {
				f := certifiedLine(t, head, line)
				if int(f[0]) != dof {
					t.Errorf("%s: %d degrees of freedom, certified %v", line, dof, f[0])
				}
				check(line+", sum of squares", ss, f[1])
				check(line+", mean square", ms, f[2])
			}
			residual := got.SD * got.SD
			table("Residual", got.Dof, residual*float64(got.Dof), residual)
			if f := certified(t, head, `\nRegression`, 3); !math.IsInf(f, 1) {
				check("F", got.F, f)
				table("Regression", model, got.F*residual*float64(model), got.F*residual)
			} else { // nothing is left over: all of the variance is the model's
				var v []quantity.Decimal
				for _, r := range rows {
					v = append(v, r[0])
				}
				sd := Describe(v).SD
				total := sd * sd * float64(len(v)-1)
				table("Regression", model, total, total/float64(model))
			}
			t.Logf("least digits %.1f; gonum's QR on the plain columns: %.1f", least, plainQR(t, head, x, y, c.degree, c.constant))
		})
	}
}

// plainQR is what a good float64 routine does without more: its digits tell
// which sets need more than that.
func plainQR(t *testing.T, head string, x [][]float64, y []float64, degree int, constant bool) float64 {
	var a *mat.Dense
	cols := len(x[0])
	if degree > 0 {
		cols = degree
	}
	off := 0
	if constant {
		cols++
		off = 1
	}
	a = mat.NewDense(len(y), cols, nil)
	for i := range y {
		if constant {
			a.Set(i, 0, 1)
		}
		for j := off; j < cols; j++ {
			if degree > 0 {
				a.Set(i, j, math.Pow(x[i][0], float64(j)))
			} else {
				a.Set(i, j, x[i][j-off])
			}
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	var b mat.Dense
	if err := qr.SolveTo(&b, false, mat.NewDense(len(y), 1, y)); err != nil {
		if _, ok := err.(mat.Condition); !ok {
			return 0
		}
	}
	least := 15.0
	for j := range cols {
		k := j
		if !constant {
			k++
		}
		least = min(least, digits(b.At(j, 0), certified(t, head, fmt.Sprintf(`\n\s*B%d`, k), 0)))
	}
	return least
}

func TestStrdAnova(t *testing.T) {
	for _, name := range []string{"SiRstvt", "AtmWtAgt", "SmLs01t", "SmLs02t", "SmLs04t", "SmLs05t", "SmLs07t"} {
		t.Run(name, func(t *testing.T) {
			head, rows := readStrd(t, name)
			for i, n := range rows[0] { // the treatments' numbers
				if n.Float() != float64(i+1) {
					t.Fatalf("treatment %d is headed %v", i+1, n)
				}
			}
			rows = rows[1:]
			var flat []quantity.Decimal
			for _, r := range rows {
				flat = append(flat, r...)
			}
			_, rest := FromFirst(flat)
			groups := make([][]float64, len(rows[0]))
			plain := make([][]float64, len(rows[0]))
			k := 0
			for _, r := range rows {
				for j := range r {
					groups[j] = append(groups[j], rest[k])
					plain[j] = append(plain[j], r[j].Float())
					k++
				}
			}
			between, within, err := OneWay(groups)
			if err != nil {
				t.Fatal(err)
			}
			least := 15.0
			check := func(what string, got, want float64) {
				d := digits(got, want)
				least = min(least, d)
				if d < wantDigits {
					t.Errorf("%s: %.15g, certified %.15g: %.1f digits", what, got, want, d)
				}
			}
			label := `\nBetween \S+`
			check("between SS", between.SS, certified(t, head, label, 1))
			check("between MS", between.MS, certified(t, head, label, 2))
			check("F", between.F, certified(t, head, label, 3))
			check("within SS", within.SS, certified(t, head, `\nWithin \S+`, 1))
			check("within MS", within.MS, certified(t, head, `\nWithin \S+`, 2))
			if b, w := certified(t, head, label, 0), certified(t, head, `\nWithin \S+`, 0); float64(between.Dof) != b || float64(within.Dof) != w {
				t.Errorf("%d and %d degrees of freedom, certified %v and %v", between.Dof, within.Dof, b, w)
			}
			check("residual sd", math.Sqrt(within.MS), certified(t, head, `Residual\s+Standard Deviation`, 0))
			check("R2", between.SS/(between.SS+within.SS), certified(t, head, `R-Squared`, 0))
			b, _, _ := OneWay(plain)
			t.Logf("least digits %.1f; F from plain float64 values: %.1f", least, digits(b.F, certified(t, head, label, 3)))
			// The same through the study's own analysis.
			cells := make(Cells, len(groups))
			for i, g := range groups {
				cells[i] = [][]float64{g}
			}
			a, err := Crossed(cells, PoolAuto, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			check("F of a study with one person", a.Table[0].F, certified(t, head, label, 3))
		})
	}
}
