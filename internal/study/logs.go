package study

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"thouwright/config"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// Pick chooses takes from a job's logs; empty fields choose all. Check is a name or an id.
type Pick struct {
	Check, Component, Position, Stage, Operator string
}

func (p Pick) takes(t *ledger.Take) bool {
	is := func(want, got string) bool { return want == "" || want == got }
	return is(p.Check, t.Tag.Check) && is(p.Component, t.Tag.Component) &&
		is(p.Position, t.Tag.Position) && is(p.Stage, t.Tag.Stage) && is(p.Operator, t.Operator)
}

// named is p with the names that takes are kept by in the place of an id, which only the
// sheets hold. Where a take's check has that very name, it is meant.
func (p Pick) named(f *journal.Folder) Pick {
	for i := range f.Takes {
		if p.Check == "" || f.Takes[i].Tag.Check == p.Check {
			return p
		}
	}
	for _, s := range slices.Backward(f.Sheets) {
		j, _ := config.ParseJob(s.Name, s.Text)
		if s.First != "job.toml" || j == nil {
			continue
		}
		for _, part := range j.Components {
			for _, k := range part.Checks {
				if k.ID == p.Check && (p.Component == "" || p.Component == part.Name) {
					p.Check, p.Component = k.Name, part.Name
					return p
				}
			}
		}
	}
	return p
}

// FromLogs reads the repeated takes of one check from a job's folder. A part is
// a component and position at one stage, for between two stages it was worked on;
// a person the operator; every take counts, those that a later one replaced too.
// Derived values and upper bounds are left out: they measure nothing by
// themselves; and so are takes that are not trusted.
func FromLogs(dir string, pick Pick) (*Data, error) {
	f, err := journal.Load(dir)
	if err != nil {
		return nil, err
	}
	pick = pick.named(f)
	root := chains(f.Takes)
	type key struct{ check, method, gauge, unit string }
	groups := map[key][]*ledger.Take{}
	bounds, turned, distrusted := map[key]int{}, map[key]int{}, map[key]int{}
	place := func(t *ledger.Take) string {
		s := placeOf(t)
		if t.Tag.Stage != "" && pick.Stage == "" {
			s += ", " + t.Tag.Stage
		}
		if adjustable(t) {
			s += fmt.Sprintf(" (from take %d)", root[t.Take])
		}
		return s
	}
	for i := range f.Takes {
		t := &f.Takes[i]
		if !pick.takes(t) || t.Method == "derived" || math.IsNaN(t.Result) {
			continue
		}
		k := key{t.Tag.Check, t.Method, t.Gauge, t.Unit.String()}
		if adjustable(t) && root[t.Take] == 0 {
			turned[k]++
			continue
		}
		if isBound(t) {
			bounds[k]++
			continue
		}
		if t.Distrusted() != "" {
			distrusted[k]++
			continue
		}
		groups[k] = append(groups[k], t)
	}
	var repeated []key
	for k, ts := range groups {
		if most(ts, place) > 1 {
			repeated = append(repeated, k)
		}
	}
	sort.Slice(repeated, func(i, j int) bool { return fmt.Sprint(repeated[i]) < fmt.Sprint(repeated[j]) })
	switch len(repeated) {
	case 0:
		return nil, fmt.Errorf("%s: nothing was measured twice; take each place at least twice (redo keeps every take)", dir)
	case 1:
	default:
		var names []string
		for _, k := range repeated {
			names = append(names, fmt.Sprintf("%q (%s, %d takes)", k.check, k.gauge, len(groups[k])))
		}
		return nil, fmt.Errorf("%s: several checks were repeated: %s; choose one with --check", dir, strings.Join(names, ", "))
	}
	k := repeated[0]
	d := &Data{Source: dir, Gauge: k.gauge, What: k.check, Timed: true}
	d.Unit, err = quantity.ParseUnit(k.unit)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", dir, err)
	}
	leftOut := func(n int, why string) {
		if n > 0 {
			d.Notes = append(d.Notes, fmt.Sprintf("left out: %s %s", count(n, "take", "takes"), why))
		}
	}
	leftOut(bounds[k], "with an upper bound only")
	leftOut(turned[k], "before which the adjuster may have been turned; redo repeats one")
	leftOut(distrusted[k], "not to be trusted")
	times := map[string]int{}
	for _, t := range groups[k] {
		times[place(t)]++
	}
	alone := 0
	var start int64
	for _, t := range groups[k] {
		if times[place(t)] < 2 {
			alone++
			continue
		}
		v, err := quantity.ParseDecimal(ledger.Number(t.Result))
		if err != nil {
			return nil, fmt.Errorf("%s, take %d: result %v: %w", dir, t.Take, t.Result, err)
		}
		if len(d.Rows) == 0 {
			start = t.At.Wall
		}
		d.Rows = append(d.Rows, Row{
			Part: place(t), Person: t.Operator, Trial: strconv.FormatUint(t.Take, 10), Value: v, Known: math.NaN(),
			Time: float64(t.At.Wall-start) / 1e6, Scatter: scatter(t), Line: int(t.Take),
		})
	}
	leftOut(alone, "of places measured once only")
	d.inTime()
	return d, nil
}

// adjustable tells whether takes of one place may differ because an adjuster
// was turned in between.
func adjustable(t *ledger.Take) bool { return t.Method == "end-play" || t.Method == "drag" }

// chains gives, for every take that was repeated by a redo and for the redo
// itself, the first take of its chain.
func chains(takes []ledger.Take) map[uint64]uint64 {
	root := map[uint64]uint64{}
	for i := range takes {
		t := &takes[i]
		if t.Replaces == 0 {
			continue
		}
		if root[t.Replaces] == 0 {
			root[t.Replaces] = t.Replaces
		}
		root[t.Take] = root[t.Replaces]
	}
	return root
}

func placeOf(t *ledger.Take) string {
	s := t.Tag.Component
	if t.Tag.Position != "" {
		s += ", " + t.Tag.Position
	}
	return s
}

// most is the largest number of takes of one place.
func most(ts []*ledger.Take, place func(*ledger.Take) string) int {
	n := map[string]int{}
	m := 0
	for _, t := range ts {
		n[place(t)]++
		m = max(m, n[place(t)])
	}
	return m
}

func isBound(t *ledger.Take) bool {
	if t.Bound {
		return true
	}
	for _, l := range t.Budget {
		if l.Distribution == metrology.Declining.String() {
			return true
		}
	}
	return false
}

// scatter is what the take's own strokes left uncertain.
func scatter(t *ledger.Take) float64 {
	for _, l := range t.Budget {
		if l.Part == metrology.PartScatter {
			return l.U
		}
	}
	return math.NaN()
}
