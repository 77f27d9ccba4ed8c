package metrology

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Input is one measured value of a derived one. Inputs that name the same gauge
// or the same master share what these contribute.
type Input struct {
	Name   string // as the budget shall call it: bush["upper"]
	Value  float64
	Budget Budget
	Gauge  string
	Master string
	// Draw draws true - value where the parts of a budget cannot say it. It
	// takes the place of Budget and leads to Monte Carlo.
	Draw func(r *rand.Rand) float64

	alike string // a master of the same size on another gauge: a ring and a plug, or one for both
}

// Propagated is a derived value.
type Propagated struct {
	// Value is the function of the inputs' values, which a person can redo by
	// hand. (JCGM 101, 7.6, would give Mean.)
	Value    float64
	Mean     float64
	Budget   Budget // first order: every part; Monte Carlo: what each input alone would leave
	Combined Combined
	Sampled  bool // by Monte Carlo
}

// Draws of a Monte Carlo evaluation: probabilities hold to about 0.001.
const (
	draws      = 100_000
	drawsAlone = 20_000
)

// curved is how far, in combined standard uncertainties, a function may leave
// its tangent over three standard uncertainties of an input, or of two at once,
// before first order is given up.
const curved = 0.1

// Propagate carries the uncertainty of the inputs through f: first order
// (JCGM 100, 5.1.2 and 5.2.2) where smooth says that f has no corner and f is
// straight enough, else Monte Carlo (JCGM 101), which the seed makes
// repeatable. What comes from one master on one gauge counts as fully correlated.
// The error of one gauge at two places of its travel is correlated to an unknown
// degree, and so are its angles and the arm at which it pulls, set up anew or not;
// masters of one size on two gauges may be two. So of each such part none and full are
// both tried and the wider stands.
func Propagate(f func([]float64) (float64, error), in []Input, smooth bool, seed uint64) (Propagated, error) {
	in = apart(in)
	x := make([]float64, len(in))
	for i := range in {
		x[i] = in[i].Value
		for _, p := range in[i].Budget {
			smooth = smooth && p.Shape != Declining
		}
		smooth = smooth && in[i].Draw == nil
	}
	value, err := f(x)
	if err != nil {
		return Propagated{}, err
	}
	if smooth {
		p, straight, err := firstOrder(f, in, x, value)
		if err != nil || straight {
			return p, err
		}
	}
	return sampled(f, in, x, value, seed)
}

// apart takes masters of one size on several gauges for what may be one and need not.
func apart(in []Input) []Input {
	on := map[string]string{}
	several := map[string]bool{}
	for _, i := range in {
		if g, ok := on[i.Master]; ok && g != i.Gauge {
			several[i.Master] = i.Master != ""
		}
		on[i.Master] = i.Gauge
	}
	in = slices.Clone(in)
	for k := range in {
		if i := &in[k]; several[i.Master] {
			i.alike, i.Master = i.Master, ""
		}
	}
	return in
}

// firstOrder also tells whether f is straight enough for it.
func firstOrder(f func([]float64) (float64, error), in []Input, x []float64, value float64) (p Propagated, straight bool, err error) {
	at := func(i int, dx float64, j int, dy float64) float64 {
		v := slices.Clone(x)
		v[i] += dx
		v[j] += dy
		y, e := f(v)
		if e != nil {
			err = e
		}
		return y
	}
	c := make([]float64, len(in))
	u := make([]float64, len(in))
	bend := 0.0
	for i := range in {
		if u[i] = in[i].Budget.Combine().U; u[i] == 0 {
			continue
		}
		c[i] = (at(i, u[i], i, 0) - at(i, -u[i], i, 0)) / (2 * u[i]) // JCGM 100, 5.1.3, note 2
		h := 3 * u[i]
		bend = max(bend, math.Abs(at(i, h, i, 0)+at(i, -h, i, 0)-2*value)/2)
		// A product bends along no axis, only between two: a factor near zero
		// hides what the other is uncertain by (JCGM 100, 5.1.2, note, and H.1.7).
		for j := range i {
			if k := 3 * u[j]; k > 0 {
				bend = max(bend, math.Abs(at(i, h, j, k)+at(i, -h, j, -k)-at(i, h, j, -k)-at(i, -h, j, k))/4)
			}
		}
	}
	if err != nil {
		return Propagated{}, false, err
	}
	p = Propagated{Value: value, Mean: value, Budget: carried(in, c)}
	p.Combined = p.Budget.Combine()
	return p, bend <= curved*p.Combined.U, nil
}

const masterPrefix = "master "

// masterKey names the one thing behind a part that several inputs share for
// certain; "" where it is the input's own.
func masterKey(i Input, p Part) string {
	if p.Name == PartMaster && i.Master != "" {
		return masterPrefix + i.Master
	}
	return ""
}

// gaugeKey does so for what they may share.
func gaugeKey(i Input, p Part) string {
	if isTemperature(p) {
		return p.Name // one room and one thermometer, whatever the gauge
	}
	switch p.Name {
	case PartMaster:
		if i.alike != "" {
			return "a " + masterPrefix + i.alike
		}
	case PartError, PartErrorAssumed, PartHysteresis, PartSetting, PartAngles, PartArm:
		if i.Gauge != "" {
			return p.Name + ", " + i.Gauge
		}
	}
	return ""
}

func isTemperature(p Part) bool {
	return p.Name == PartTemperature || strings.HasPrefix(p.Name, PartTemperature+", ")
}

// common is what several inputs share, or may share.
type common struct {
	name         string
	parts        []Part // with the sign of their effect on the result
	sum, squares float64
}

// carried is the result's budget. A master's parts add with their signs; a
// gauge's do where that is the wider of none and full correlation.
func carried(in []Input, c []float64) Budget {
	var b Budget
	shares := map[string]*common{}
	var order []*common
	for i := range in {
		seen := map[string]int{}
		for _, p := range in[i].Budget {
			name := in[i].Name + ": " + p.Name
			u := c[i] * p.U
			k := masterKey(in[i], p)
			if k == "" {
				k = gaugeKey(in[i], p)
			}
			if k != "" {
				// Two parts of one name within an input come from two gauges.
				if seen[k]++; seen[k] > 1 {
					k = fmt.Sprintf("%s (%d)", k, seen[k])
				}
			}
			p.Name, p.U = name, u
			if k == "" {
				b = append(b, p)
				continue
			}
			s := shares[k]
			if s == nil {
				s = &common{name: k}
				shares[k] = s
				order = append(order, s)
			}
			s.parts = append(s.parts, p)
			s.sum += u
			s.squares += u * u
		}
	}
	for _, s := range order {
		if len(s.parts) > 1 && (strings.HasPrefix(s.name, masterPrefix) || s.sum*s.sum > s.squares) {
			one := s.parts[0]
			one.Name, one.U = s.name, s.sum
			s.parts = []Part{one}
		}
		b = append(b, s.parts...)
	}
	for i := range b { // Value / Divisor = U
		p := &b[i]
		p.U = math.Abs(p.U)
		if p.U > 0 && p.Value != 0 {
			p.Divisor = p.Value / p.U
		} else {
			p.Value, p.Divisor = p.U, 1
		}
	}
	return b
}

// sampled is Monte Carlo, JCGM 101, clause 7.
func sampled(f func([]float64) (float64, error), in []Input, x []float64, value float64, seed uint64) (Propagated, error) {
	sharers := []func(Input, Part) string{masterKey}
	if mayShare(in) {
		sharers = append(sharers, func(i Input, p Part) string { return masterKey(i, p) + gaugeKey(i, p) })
	}
	p := Propagated{Value: value, Sampled: true}
	for _, key := range sharers {
		d, err := drawAll(f, in, x, key, draws, seed)
		if err != nil {
			return Propagated{}, err
		}
		c, mean := sampleCombined(d, value)
		if c.U95 > p.Combined.U95 {
			p.Combined, p.Mean = c, mean
		}
	}
	if p.Combined.sample == nil { // no input has any uncertainty
		p.Mean = value
		return p, nil
	}
	for i := range in {
		one := make([]Input, len(in))
		for j := range in {
			one[j] = Input{Value: in[j].Value}
		}
		one[i] = in[i]
		d, err := drawAll(f, one, x, masterKey, drawsAlone, seed)
		if err != nil {
			return Propagated{}, err
		}
		_, u := stat.MeanStdDev(d, nil)
		p.Budget = append(p.Budget, Gauss(in[i].Name, u))
	}
	p.Combined.Parts = p.Budget
	return p, nil
}

// mayShare tells whether any two inputs may have an error in common.
func mayShare(in []Input) bool {
	by := map[string]int{} // the last input, from 1, that had a part of this key
	for i := range in {
		for _, p := range in[i].Budget {
			k := gaugeKey(in[i], p)
			if k != "" && by[k] != 0 && by[k] != i+1 {
				return true
			}
			by[k] = i + 1
		}
	}
	return false
}

// drawAll evaluates f at n draws of its inputs.
func drawAll(f func([]float64) (float64, error), in []Input, x []float64, key func(Input, Part) string, n int, seed uint64) ([]float64, error) {
	r := rand.New(rand.NewPCG(seed, uint64(len(in))))
	y := make([]float64, n)
	v := make([]float64, len(in))
	// A part that is shared is drawn once, in units of its own u.
	type source struct {
		input int
		u     float64
		pool  int
	}
	var pool []func() float64
	var from []source
	known := map[string]int{}
	offset := make([]float64, len(in))
	for i := range in {
		if in[i].Draw != nil {
			draw := in[i].Draw
			pool = append(pool, func() float64 { return draw(r) })
			from = append(from, source{i, 1, len(pool) - 1})
			continue
		}
		for _, p := range in[i].Budget {
			if p.U == 0 {
				continue
			}
			k := key(in[i], p)
			at, ok := known[k]
			if k == "" || !ok {
				at = len(pool)
				pool = append(pool, unitDraw(p, r))
				if k != "" {
					known[k] = at
				}
			}
			from = append(from, source{i, p.U, at})
		}
		if c := in[i].Budget.Combine(); c.UpperBound {
			offset[i] = c.offset
		}
	}
	unit := make([]float64, len(pool))
	for j := range y {
		for i := range v {
			v[i] = x[i] - offset[i]
		}
		for k := range pool {
			unit[k] = pool[k]()
		}
		for _, s := range from {
			v[s.input] += s.u * unit[s.pool]
		}
		var err error
		if y[j], err = f(v); err != nil {
			return nil, fmt.Errorf("drawing inputs about their values: %w", err)
		}
	}
	return y, nil
}

// unitDraw draws a part's distribution with standard uncertainty 1 (scale 1
// for t).
func unitDraw(p Part, r *rand.Rand) func() float64 {
	switch p.Shape {
	case Rectangular:
		return func() float64 { return math.Sqrt(3) * (2*r.Float64() - 1) }
	case Triangular:
		return func() float64 { return math.Sqrt(6) * (r.Float64() - r.Float64()) }
	case Declining:
		return func() float64 { return math.Sqrt(18) * (1 - math.Sqrt(r.Float64())) }
	case StudentT:
		if p.Dof > 0 && !math.IsInf(p.Dof, 1) {
			t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: p.Dof, Src: r}
			return t.Rand
		}
	}
	return r.NormFloat64
}

// sampleCombined is the distribution of draws about the value.
func sampleCombined(y []float64, value float64) (Combined, float64) {
	mean, sd := stat.MeanStdDev(y, nil)
	if !(sd > 0) {
		return Combined{DofEff: math.Inf(1)}, mean
	}
	for i := range y {
		y[i] -= value
	}
	slices.Sort(y)
	c := Combined{U: sd, DofEff: math.Inf(1), sample: y}
	away := make([]float64, len(y))
	for i := range y {
		away[i] = math.Abs(y[i])
	}
	slices.Sort(away)
	c.U95 = away[int(math.Ceil(0.95*float64(len(away))))-1]
	return c, mean
}
