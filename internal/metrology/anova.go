package metrology

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Source is one line of an analysis of variance.
type Source struct {
	Name string // see the Source names
	SS   float64
	Dof  int
	MS   float64
	F, P float64 // NaN where there is nothing to compare with
}

// Names of the sources and of the components.
const (
	SourceParts       = "parts"
	SourcePeople      = "people"
	SourceInteraction = "people x parts"
	SourceRepeat      = "repeatability"
	SourceTotal       = "total"
	SourceBoth        = "set-up" // repeatability, people and their interaction
)

// Component is one share of the spread, as a standard deviation.
type Component struct {
	Name     string
	Variance float64
	SD       float64
	// Estimate is the variance before a negative one was set to zero.
	Estimate  float64
	Zeroed    bool
	Low, High float64 // interval of the SD; NaN where none is given
	Dof       float64 // Satterthwaite, of the variance
}

// Anova is the analysis of people measuring parts several times.
type Anova struct {
	Parts, People int
	Trials        float64 // per person and part; the harmonic mean where they differ
	N             int
	Balanced      bool
	Pooled        bool // the interaction was joined with repeatability
	Table         []Source
	Components    []Component
	Distinct      int // how many sizes the set-up can tell apart; -1 where parts show no spread to speak of or there is one part
	Confidence    float64
}

// Pooling says what becomes of the interaction.
type Pooling string

// PoolAuto joins an interaction of no significance with repeatability.
const (
	PoolAuto Pooling = "auto"
	PoolYes  Pooling = "yes"
	PoolNo   Pooling = "no"
)

// poolAbove is the significance above which an interaction is joined with
// repeatability: common practice.
const poolAbove = 0.25

// OneWay compares groups: between and within (NIST/SEMATECH e-Handbook, 7.4.3).
func OneWay(groups [][]float64) (between, within Source, err error) {
	var all []float64
	for _, g := range groups {
		all = append(all, g...)
	}
	grand := stat.Mean(all, nil)
	between.Name, within.Name = "between", "within"
	for _, g := range groups {
		if len(g) == 0 {
			return between, within, fmt.Errorf("a group without values")
		}
		m := stat.Mean(g, nil)
		between.SS += float64(len(g)) * (m - grand) * (m - grand)
		within.SS += squares(g, m)
	}
	between.Dof, within.Dof = len(groups)-1, len(all)-len(groups)
	between.MS, within.MS = ms(between.SS, between.Dof), ms(within.SS, within.Dof)
	between.F, between.P = fTest(between, within)
	within.F, within.P = math.NaN(), math.NaN()
	return between, within, nil
}

// squares is the sum of squares about m, corrected for the rounding of m.
func squares(v []float64, m float64) float64 {
	var s, c float64
	for _, x := range v {
		s += (x - m) * (x - m)
		c += x - m
	}
	return s - c*c/float64(len(v))
}

func ms(ss float64, dof int) float64 {
	if dof <= 0 {
		return math.NaN()
	}
	return ss / float64(dof)
}

func fTest(over, under Source) (f, p float64) {
	if over.Dof <= 0 || under.Dof <= 0 || !(under.MS > 0) {
		return math.NaN(), math.NaN()
	}
	f = over.MS / under.MS
	// The upper tail by the incomplete beta function, so that a small p keeps
	// its digits.
	d1, d2 := float64(over.Dof), float64(under.Dof)
	return f, mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}

// Cells are the values by part and person: cells[part][person] holds the trials.
type Cells [][][]float64

// Crossed analyses a study in which every person measured every part (both
// taken as random): ISO 22514-7 and the NIST/SEMATECH e-Handbook, 2.4. With one
// person, or one part, what can be told apart is told apart. Unequal numbers of
// trials are analysed by the means of the cells with the harmonic mean of their
// sizes (unweighted means; exact where they are equal). Values should be
// differences from a common start (FromFirst), so that no digits are lost.
func Crossed(cells Cells, pool Pooling, confidence float64) (Anova, error) {
	a := Anova{Parts: len(cells), Distinct: -1, Confidence: confidence, Balanced: true}
	if a.Parts == 0 || len(cells[0]) == 0 {
		return a, fmt.Errorf("no values")
	}
	a.People = len(cells[0])
	means := make([][]float64, a.Parts)
	var repeat Source
	inv, first := 0.0, len(cells[0][0])
	grandSum, total := 0.0, 0.0
	for i, row := range cells {
		if len(row) != a.People {
			return a, fmt.Errorf("part %d has %d people, expected %d", i+1, len(row), a.People)
		}
		for j, c := range row {
			if len(c) == 0 {
				return a, fmt.Errorf("part %d, person %d: no value", i+1, j+1)
			}
			m := stat.Mean(c, nil)
			means[i] = append(means[i], m)
			repeat.SS += squares(c, m)
			a.N += len(c)
			inv += 1 / float64(len(c))
			a.Balanced = a.Balanced && len(c) == first
			for _, x := range c {
				grandSum += x
			}
		}
	}
	grand := grandSum / float64(a.N)
	for _, row := range cells {
		for _, c := range row {
			total += squares(c, stat.Mean(c, nil)) + float64(len(c))*sq(stat.Mean(c, nil)-grand)
		}
	}
	a.Trials = float64(a.Parts*a.People) / inv
	repeat.Dof = a.N - a.Parts*a.People
	if a.N < 2 {
		return a, fmt.Errorf("one value alone says nothing of repeatability")
	}
	parts, people, inter := a.marginal(means)
	repeat.Name = SourceRepeat
	if inter.Dof > 0 && repeat.Dof == 0 {
		// One trial each: interaction and repeatability can't be told apart.
		repeat.SS, repeat.Dof = inter.SS, inter.Dof
		inter = Source{Name: SourceInteraction}
		a.Pooled = true
	}
	if repeat.Dof == 0 {
		return a, fmt.Errorf("every person measured each part once only: at least one repeated trial is needed")
	}
	repeat.MS = ms(repeat.SS, repeat.Dof)
	repeat.F, repeat.P = math.NaN(), math.NaN()
	inter.MS = ms(inter.SS, inter.Dof)
	if inter.Dof > 0 {
		inter.F, inter.P = fTest(inter, repeat)
		a.Table = append(a.Table, inter)
		if pool == PoolYes || pool == PoolAuto && inter.P > poolAbove {
			a.Pooled = true
			repeat.SS, repeat.Dof = repeat.SS+inter.SS, repeat.Dof+inter.Dof
			repeat.MS = ms(repeat.SS, repeat.Dof)
			inter.Dof = 0
		}
	}
	under := repeat // what parts and people are compared with
	if inter.Dof > 0 {
		under = inter
	}
	parts.MS, people.MS = ms(parts.SS, parts.Dof), ms(people.SS, people.Dof)
	parts.F, parts.P = fTest(parts, under)
	people.F, people.P = fTest(people, under)
	head := []Source{}
	for _, s := range []Source{parts, people} {
		if s.Dof > 0 {
			head = append(head, s)
		}
	}
	a.Table = append(append(head, a.Table...), repeat,
		Source{SourceTotal, total, a.N - 1, ms(total, a.N-1), math.NaN(), math.NaN()})
	a.components(parts, people, inter, repeat)
	return a, nil
}

func sq(x float64) float64 { return x * x }

// marginal is the sums of squares of parts, people and interaction from the
// cells' means.
func (a *Anova) marginal(means [][]float64) (parts, people, inter Source) {
	byPart := make([]float64, a.Parts)
	byPerson := make([]float64, a.People)
	grand := 0.0
	p, o := float64(a.Parts), float64(a.People)
	for i := range means {
		for j, m := range means[i] {
			byPart[i] += m / o
			byPerson[j] += m / p
			grand += m / (p * o)
		}
	}
	parts = Source{Name: SourceParts, SS: a.Trials * o * squares(byPart, grand), Dof: a.Parts - 1}
	people = Source{Name: SourcePeople, SS: a.Trials * p * squares(byPerson, grand), Dof: a.People - 1}
	inter = Source{Name: SourceInteraction, Dof: (a.Parts - 1) * (a.People - 1)}
	for i := range means {
		for j, m := range means[i] {
			inter.SS += a.Trials * sq(m-byPart[i]-byPerson[j]+grand)
		}
	}
	return parts, people, inter
}

// term is one mean square with its factor in a variance component.
type term struct {
	k, ms float64
	dof   int
}

// components solves the expected mean squares.
func (a *Anova) components(parts, people, inter, repeat Source) {
	p, o, r := float64(a.Parts), float64(a.People), a.Trials
	e := term{1, repeat.MS, repeat.Dof}
	add := func(name string, ts ...term) {
		var kept []term
		for _, t := range ts {
			if t.k != 0 && t.dof > 0 {
				kept = append(kept, t)
			}
		}
		a.Components = append(a.Components, component(name, kept, a.Confidence))
	}
	add(SourceRepeat, e)
	under := e
	if inter.Dof > 0 {
		under = term{1, inter.MS, inter.Dof}
		add(SourceInteraction, term{1 / r, inter.MS, inter.Dof}, term{-1 / r, repeat.MS, repeat.Dof})
	}
	minus := func(t term, k float64) term { t.k = -k; return t }
	if people.Dof > 0 {
		add(SourcePeople, term{1 / (p * r), people.MS, people.Dof}, minus(under, 1/(p*r)))
	}
	// The set-up's own spread: the sum, without regard to signs. Where a
	// component was set to zero the sum of what is left counts.
	both := []term{{1, repeat.MS, repeat.Dof}}
	switch {
	case inter.Dof > 0:
		both = []term{{1 / (p * r), people.MS, people.Dof}, {1/r - 1/(p*r), inter.MS, inter.Dof}, {1 - 1/r, repeat.MS, repeat.Dof}}
	case people.Dof > 0:
		both = []term{{1 / (p * r), people.MS, people.Dof}, {1 - 1/(p*r), repeat.MS, repeat.Dof}}
	}
	sum := 0.0
	for _, c := range a.Components {
		sum += c.Variance
	}
	add(SourceBoth, both...)
	a.Components[len(a.Components)-1].replace(sum)
	if parts.Dof > 0 {
		add(SourceParts, term{1 / (o * r), parts.MS, parts.Dof}, minus(under, 1/(o*r)))
		part := a.Components[len(a.Components)-1]
		a.Components = append(a.Components, Component{Name: SourceTotal, Variance: sum + part.Variance, SD: math.Sqrt(sum + part.Variance),
			Estimate: sum + part.Variance, Low: math.NaN(), High: math.NaN(), Dof: math.NaN()})
		if sum > 0 {
			a.Distinct = int(math.Floor(math.Sqrt2 * part.SD / math.Sqrt(sum)))
		}
	}
}

// replace puts the sum of the components, each at least zero, in place of the
// plain estimate, and keeps its interval about it.
func (c *Component) replace(v float64) {
	c.Variance, c.SD = v, math.Sqrt(v)
	c.Zeroed = false
	c.Low, c.High = min(c.Low, c.SD), max(c.High, c.SD)
}

// Get finds a component by name.
func (a *Anova) Get(name string) (Component, bool) {
	for _, c := range a.Components {
		if c.Name == name {
			return c, true
		}
	}
	return Component{}, false
}

// component is a sum of mean squares with its interval: exact (chi-square) for
// one of them, else the modified large-sample interval of Graybill and Wang
// (1980) for sums and of Ting, Burdick, Graybill, Jeyaratnam and Lu (1990) for
// a difference. From memory; their coverage is tested by simulation.
func component(name string, ts []term, confidence float64) Component {
	v, satter := 0.0, 0.0
	for _, t := range ts {
		v += t.k * t.ms
		satter += sq(t.k*t.ms) / float64(t.dof)
	}
	c := Component{Name: name, Estimate: v, Variance: max(v, 0), Zeroed: v < 0, Dof: math.NaN()}
	if satter > 0 && v > 0 {
		c.Dof = v * v / satter
	}
	c.SD = math.Sqrt(c.Variance)
	tail := (1 - confidence) / 2
	lower, upper := 0.0, 0.0 // variances of the two limits
	for i, t := range ts {
		g := 1 - float64(t.dof)/distuv.ChiSquared{K: float64(t.dof)}.Quantile(1-tail)
		h := float64(t.dof)/distuv.ChiSquared{K: float64(t.dof)}.Quantile(tail) - 1
		km := sq(t.k * t.ms)
		if t.k > 0 {
			lower += g * g * km
			upper += h * h * km
			continue
		}
		lower += h * h * km
		upper += g * g * km
		// Cross terms with every positive one.
		for _, s := range ts[:i] {
			if s.k < 0 {
				continue
			}
			d := distuv.F{D1: float64(s.dof), D2: float64(t.dof)}
			gs := 1 - float64(s.dof)/distuv.ChiSquared{K: float64(s.dof)}.Quantile(1-tail)
			hs := float64(s.dof)/distuv.ChiSquared{K: float64(s.dof)}.Quantile(tail) - 1
			f1, f2 := d.Quantile(1-tail), d.Quantile(tail)
			cross := s.k * -t.k * s.ms * t.ms
			lower += cross * (sq(f1-1) - sq(gs*f1) - sq(h)) / f1
			upper += cross * (sq(1-f2) - sq(hs*f2) - sq(g)) / f2
		}
	}
	c.Low = math.Sqrt(max(0, v-math.Sqrt(max(0, lower))))
	c.High = math.Sqrt(max(0, v+math.Sqrt(max(0, upper))))
	return c
}
