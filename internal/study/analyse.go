package study

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// Options of an analysis.
type Options struct {
	Pooling    metrology.Pooling // of the interaction; "" is auto
	Confidence float64           // 0 is 0.95
	Limits     *metrology.Limits // in the study's unit: how much of them the set-up takes
	Known      map[string]float64
	KnownU95   float64 // of the known values
	NoPeople   bool    // as if one person had measured
}

// Result is what a study found, all in its unit.
type Result struct {
	Source string         `json:"source"`
	What   string         `json:"check,omitempty"`
	Gauge  string         `json:"gauge,omitempty"`
	Unit   string         `json:"unit"`
	Parts  []string       `json:"parts"`
	People []string       `json:"people"`
	N      int            `json:"values"`
	Trials Number         `json:"trials"`
	Model  string         `json:"model"`
	Table  []Line         `json:"table"`
	Shares []Share        `json:"components"`
	Sizes  *int           `json:"sizes_told_apart"` // nil: one part, or no spread of the set-up at all
	Limits Number         `json:"share_of_limits"`  // 6 standard deviations of the set-up over the limits' width
	Set    *Repeatability `json:"repeatability"`
	Bias   []Bias         `json:"bias,omitempty"`
	Slope  *Slope         `json:"bias_with_size,omitempty"`
	Stable *Stability     `json:"stability"`
	Notes  []string       `json:"notes"`
	unit   quantity.Unit
	first  float64
	digit  float64 // what the values' last digit is worth: they tell nothing finer
	cells  metrology.Cells
	rows   []point
	anova  metrology.Anova
}

// Number is a float64 that JSON shows as null where it is not finite.
type Number float64

// MarshalJSON writes null for what is no number.
func (n Number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

// Line is a line of the table of variance.
type Line struct {
	Source string `json:"source"`
	SS     Number `json:"sum_of_squares"`
	Dof    int    `json:"degrees_of_freedom"`
	MS     Number `json:"mean_square"`
	F      Number `json:"f"`
	P      Number `json:"p"`
}

// Share is one component of the spread.
type Share struct {
	Name     string `json:"name"`
	SD       Number `json:"standard_deviation"`
	Low      Number `json:"low"`
	High     Number `json:"high"`
	Variance Number `json:"variance"`
	Estimate Number `json:"variance_before_zero"`
	Zeroed   bool   `json:"set_to_zero"`
	OfTotal  Number `json:"share_of_total"` // of standard deviations, as is usual; they do not add up
}

// Repeatability is the figure for a bench file: one standard deviation between
// set-ups, without the scatter that every take counts for itself.
type Repeatability struct {
	Value   Number `json:"value"`
	Unit    string `json:"unit"`
	Dof     Number `json:"degrees_of_freedom"`
	Scatter Number `json:"scatter_taken_off"` // root mean square of the takes' own; 0 where not known
}

// Bias is how far the mean of a part lies from its known value.
type Bias struct {
	Part  string `json:"part"`
	Known Number `json:"known"`
	Mean  Number `json:"mean"`
	Bias  Number `json:"bias"`
	U95   Number `json:"u95"`
	Shown bool   `json:"shown"` // beyond what chance explains at 95 %
}

// Slope is how the bias changes with size.
type Slope struct {
	PerUnit Number `json:"per_unit"`
	U95     Number `json:"u95"`
	Shown   bool   `json:"shown"`
}

// Stability is what changed in the course of the study.
type Stability struct {
	Span    Number `json:"span_s"` // null: the order of the file stands for time
	Drift   Number `json:"drift"`  // over the whole study; null, as lag_1, where the file's order is not that of measurement
	U95     Number `json:"u95"`
	Shown   bool   `json:"drift_shown"`
	R1      Number `json:"lag_1"` // autocorrelation of neighbouring values
	Limit   Number `json:"lag_1_limit"`
	Outside []int  `json:"outside"` // lines (takes) beyond three standard deviations
}

// point is a row with its place in the analysis.
type point struct {
	Row
	part, person int
	dev          float64 // from the first value
	rest         float64 // from its cell's mean
}

// Analyse does it all.
func Analyse(d *Data, o Options) (*Result, error) {
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	if o.Pooling == "" {
		o.Pooling = metrology.PoolAuto
	}
	r := &Result{Source: d.Source, What: d.What, Gauge: d.Gauge, Unit: d.Unit.String(), N: len(d.Rows), unit: d.Unit,
		Limits: Number(math.NaN()), Notes: slices.Clone(d.Notes)}
	if err := r.arrange(d, o); err != nil {
		return nil, err
	}
	a, err := metrology.Crossed(r.cells, o.Pooling, o.Confidence)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", d.Source, err)
	}
	r.anova = a
	r.describe(a, o)
	r.setUp(a)
	if err := r.biases(o); err != nil {
		return nil, fmt.Errorf("%s: %w", d.Source, err)
	}
	r.stability(d)
	if r.Notes == nil {
		r.Notes = []string{}
	}
	return r, nil
}

// Values as large as farthest, or that differ by less than nearest, cannot be
// analysed: intervals take fourth powers of what differs, which are no full numbers
// there.
const nearest, farthest = 1e-60, 1e60

// arrange sorts the rows into cells.
func (r *Result) arrange(d *Data, o Options) error {
	values := make([]quantity.Decimal, len(d.Rows))
	for i := range d.Rows {
		values[i] = d.Rows[i].Value
	}
	first, dev := metrology.FromFirst(values)
	r.first = first
	r.digit = math.Inf(1)
	for _, v := range values {
		r.digit = min(r.digit, quantity.Decimal{Coef: 1, Scale: v.Scale}.Float())
	}
	apart := 0.0
	for i, x := range dev {
		if v := math.Abs(values[i].Float()); v > farthest {
			return fmt.Errorf("%s: a value of %.3g; expected none beyond %g", d.Source, v, farthest)
		}
		apart = max(apart, math.Abs(x))
	}
	if apart > 0 && apart < nearest {
		return fmt.Errorf("%s: the values differ by %.3g at most; expected %g or more, or values all alike: choose a smaller unit", d.Source, apart, nearest)
	}
	index := func(list *[]string, name string) int {
		i := slices.Index(*list, name)
		if i < 0 {
			i = len(*list)
			*list = append(*list, name)
		}
		return i
	}
	for i, row := range d.Rows {
		if o.NoPeople {
			row.Person = ""
		}
		p := point{Row: row, part: index(&r.Parts, row.Part), person: index(&r.People, row.Person), dev: dev[i]}
		r.rows = append(r.rows, p)
	}
	r.cells = make(metrology.Cells, len(r.Parts))
	for i := range r.cells {
		r.cells[i] = make([][]float64, len(r.People))
	}
	for _, p := range r.rows {
		r.cells[p.part][p.person] = append(r.cells[p.part][p.person], p.dev)
	}
	for i, row := range r.cells {
		for j, c := range row {
			if len(c) == 0 {
				return fmt.Errorf("%s: person %q has not measured part %q; everyone measures every part, or leave people out with --no-people", d.Source, r.People[j], r.Parts[i])
			}
		}
	}
	for i := range r.rows {
		p := &r.rows[i]
		p.rest = p.dev - stat.Mean(r.cells[p.part][p.person], nil)
	}
	return nil
}

func (r *Result) describe(a metrology.Anova, o Options) {
	r.Trials = Number(a.Trials)
	for _, s := range a.Table {
		r.Table = append(r.Table, Line{s.Name, Number(s.SS), s.Dof, Number(s.MS), Number(s.F), Number(s.P)})
	}
	total := 0.0
	if c, ok := a.Get(metrology.SourceTotal); ok {
		total = c.SD
	}
	for _, c := range a.Components {
		s := Share{c.Name, Number(c.SD), Number(c.Low), Number(c.High), Number(c.Variance), Number(c.Estimate), c.Zeroed, Number(math.NaN())}
		if total > 0 {
			s.OfTotal = Number(c.SD / total)
		}
		r.Shares = append(r.Shares, s)
		if c.Zeroed {
			r.note("the variance of %s came out negative (%.3g) and is set to zero", c.Name, c.Estimate)
		}
	}
	if a.Distinct >= 0 {
		n := a.Distinct
		r.Sizes = &n
	}
	if both, ok := a.Get(metrology.SourceBoth); ok && o.Limits != nil && !math.IsInf(o.Limits.Width(), 0) && o.Limits.Width() > 0 {
		r.Limits = Number(6 * both.SD / o.Limits.Width())
	}
	switch {
	case a.People > 1 && a.Parts > 1 && a.Trials == 1:
		r.Model = "people and parts crossed, one trial each: their interaction counts as repeatability"
	case a.People > 1 && a.Parts > 1 && a.Pooled:
		r.Model = "people and parts crossed; the interaction shows nothing and is joined with repeatability"
	case a.People > 1 && a.Parts > 1:
		r.Model = "people and parts crossed, with their interaction"
	case a.Parts > 1:
		r.Model = "parts, one person"
	case a.People > 1:
		r.Model = "people, one part"
	default:
		r.Model = "one person, one part: repetition alone"
	}
	if !a.Balanced {
		r.note("the numbers of trials differ: means of the cells were compared, %.3g trials each on average", a.Trials)
	}
	if a.People == 1 {
		r.note("one person: what another would find differently is not in these figures")
	}
}

func (r *Result) note(format string, a ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, a...))
}

// littleKnown is how many times the set-up's standard deviation its interval may
// reach before that is said: six degrees of freedom and fewer (from chi-square).
const littleKnown = 2.2

// setUp is the figure for the bench file.
func (r *Result) setUp(a metrology.Anova) {
	both, ok := a.Get(metrology.SourceBoth)
	if !ok {
		return
	}
	if both.SD > 0 && both.High > littleKnown*both.SD {
		more := "more repeats narrow that"
		if a.People > 1 {
			more = "more people and repeats narrow that"
		}
		r.note("little is known of it yet: with %g %% the set-up's standard deviation may be up to %.2g times this one; %s", 100*a.Confidence, both.High/both.SD, more)
	}
	if c, ok := a.Get(metrology.SourceRepeat); ok && c.SD < r.digit/2 {
		r.note("repetition hardly leaves the values' last digit, %s: what lies below it is not seen", r.with(Number(r.digit)))
	}
	v, n := 0.0, 0
	for _, p := range r.rows {
		if !math.IsNaN(p.Scatter) {
			v += p.Scatter * p.Scatter
			n++
		}
	}
	s := &Repeatability{Unit: r.Unit, Dof: Number(both.Dof)}
	if n > 0 {
		v /= float64(n)
	}
	left := both.Variance - v
	s.Scatter = Number(math.Sqrt(v))
	s.Value = Number(math.Sqrt(max(0, left)))
	r.Set = s
	switch {
	case n == 0:
		r.note("tables and single readings do not tell the scatter inside a take, so the repeatability holds it too; from takes of several rests it is taken off")
	case n < len(r.rows):
		r.note("%d of %d takes tell their own scatter; its mean is taken off", n, len(r.rows))
	}
	if n > 0 && left <= 0 {
		r.note("the takes' own scatter explains all of the spread: nothing is left between set-ups")
	}
}

// biases compares with known values, and the bias with size.
func (r *Result) biases(o Options) error {
	known := map[string]float64{}
	for _, p := range r.rows {
		if math.IsNaN(p.Known) {
			continue
		}
		if k, ok := known[p.Part]; ok && k != p.Known {
			return fmt.Errorf("part %q is known as %v and as %v; give one value", p.Part, k, p.Known)
		}
		known[p.Part] = p.Known
	}
	for name, k := range o.Known {
		if !slices.Contains(r.Parts, name) {
			return fmt.Errorf("no part %q to be known as %v; there are %q", name, k, r.Parts)
		}
		known[name] = k
	}
	for name, k := range known {
		if math.Abs(k) > farthest {
			return fmt.Errorf("part %q is known as %.3g; expected none beyond %g", name, k, farthest)
		}
	}
	var size, bias []float64
	for i, name := range r.Parts {
		k, ok := known[name]
		if !ok {
			continue
		}
		mean, u, dof := meanOf(r.cells[i])
		var b metrology.Budget
		if dof > 0 {
			b = append(b, metrology.Student("mean", u, dof))
		}
		if !(spread(r.cells[i]) >= r.digit/2) { // repeating one code teaches nothing
			b = append(b, metrology.Rect(metrology.PartStep, r.digit/2))
		}
		b = append(b, metrology.FromU95("known", o.KnownU95))
		c := b.Combine()
		d := (r.first - k) + mean
		u95 := c.U95
		if dof == 0 {
			u95 = math.NaN()
		}
		r.Bias = append(r.Bias, Bias{name, Number(k), Number(r.first + mean), Number(d), Number(u95), math.Abs(d) > u95})
		size, bias = append(size, k), append(bias, d)
	}
	if len(size) < 3 {
		return nil
	}
	fit, err := metrology.Polynomial(size, bias, 1)
	if err != nil || fit.Dof < 1 {
		return nil // sizes that are all alike tell nothing of a slope
	}
	u95 := fit.SE[1] * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(fit.Dof)}.Quantile(0.975)
	r.Slope = &Slope{Number(fit.Coef[1]), Number(u95), math.Abs(fit.Coef[1]) > u95}
	return nil
}

// spread is the standard deviation of all of a part's values, NaN for one alone.
func spread(byPerson [][]float64) float64 { return stat.StdDev(slices.Concat(byPerson...), nil) }

// meanOf is a part's mean with its standard uncertainty: people are the
// repetition where there are several, trials where there is one.
func meanOf(byPerson [][]float64) (mean, u, dof float64) {
	if len(byPerson) == 1 {
		m, sd := stat.MeanStdDev(byPerson[0], nil)
		n := float64(len(byPerson[0]))
		if n < 2 {
			return m, 0, 0
		}
		return m, sd / math.Sqrt(n), n - 1
	}
	var means []float64
	for _, c := range byPerson {
		means = append(means, stat.Mean(c, nil))
	}
	m, sd := stat.MeanStdDev(means, nil)
	return m, sd / math.Sqrt(float64(len(means))), float64(len(means) - 1)
}

// longest is how many rows lie between the first and the last of one cell at most.
func (r *Result) longest() float64 {
	first := map[[2]int]int{}
	most := 0
	for i, p := range r.rows {
		c := [2]int{p.part, p.person}
		if _, ok := first[c]; !ok {
			first[c] = i
		}
		most = max(most, i-first[c])
	}
	return float64(most)
}

// stability looks for a trend in time inside the cells, for neighbours that are
// alike, and for values far out.
func (r *Result) stability(d *Data) {
	cells := len(r.Parts) * len(r.People)
	dof := len(r.rows) - cells - 1
	if dof < 3 {
		return
	}
	s := &Stability{Span: Number(math.NaN()), Outside: []int{}}
	when := make([]float64, len(r.rows))
	for i, p := range r.rows {
		when[i] = float64(i)
		if d.Timed {
			when[i] = p.Time
		}
	}
	span := slices.Max(when) - slices.Min(when)
	switch {
	case d.Timed:
		s.Span = Number(span)
	case 2*r.longest() < span:
		// Repeats that stand together were hardly all measured one after another.
		s.Drift, s.U95, s.R1, s.Limit = Number(math.NaN()), Number(math.NaN()), Number(math.NaN()), Number(math.NaN())
		r.note("no times are given and the file is sorted by part or person: whether it drifted cannot be told; a column time would tell")
	default:
		r.note("no times are given: the order of the file is taken for the order of measurement")
	}
	// Both sides less their cell's mean: parts and people cancel exactly.
	type sums struct{ t, n float64 }
	mean := make([]sums, cells)
	for i, p := range r.rows {
		c := &mean[p.part*len(r.People)+p.person]
		c.t += when[i]
		c.n++
	}
	var tt, ty, yy float64
	rest := make([]float64, len(r.rows))
	for i, p := range r.rows {
		c := mean[p.part*len(r.People)+p.person]
		t := when[i] - c.t/c.n
		tt += t * t
		ty += t * p.rest
		yy += p.rest * p.rest
		rest[i] = p.rest * math.Sqrt(c.n/max(c.n-1, 1)) // as wide as the values themselves
	}
	if tt > 0 && !math.IsNaN(float64(s.Drift)) {
		b := ty / tt
		se := math.Sqrt(max(0, yy-b*ty) / float64(dof) / tt)
		s.Drift = Number(b * span)
		s.U95 = Number(se * span * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(dof)}.Quantile(0.975))
		if s.Shown = math.Abs(float64(s.Drift)) > float64(s.U95); s.Shown {
			r.note("what drifted is in the repeatability too: find out what it was, and measure again")
		}
	}
	var num, den float64
	for i, x := range rest {
		den += x * x
		if i > 0 {
			num += x * rest[i-1]
		}
	}
	if den > 0 && !math.IsNaN(float64(s.R1)) {
		s.R1 = Number(num / den)
		s.Limit = Number(metrology.Normal95 / math.Sqrt(float64(len(rest))))
	}
	sd := math.Sqrt(yy / float64(len(r.rows)-cells))
	for i, p := range r.rows {
		if math.Abs(rest[i]) > 3*sd && sd > 0 {
			s.Outside = append(s.Outside, p.Line)
		}
	}
	r.Stable = s
}
