package capture

import (
	"fmt"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
	"thouwright/internal/rules"
)

// LooseNumber is the job number of takes made while no job is active.
const LooseNumber = "loose"

// Sheet is a job ready to be worked through: its places in the order of work,
// its derived checks and its rules. It is made once for each version of the
// files and does not change.
type Sheet struct {
	Bench   *config.Bench
	Job     *config.Job
	Version int
	Loose   bool

	places  []place
	derived []derivation
	sets    map[place][]derivation // what a place's adjuster sets, see findSet
	rules   *rules.Set
	specs   map[specKey]method.Spec
}

// place is one position of one measured check.
type place struct{ component, check, position int }

type specKey struct {
	component, check int
	stage            string
}

// derivation is a derived check with its compiled expression.
type derivation struct {
	component, check int
	expr             *rules.Expr
}

// NewSheet prepares a job; j is nil where none is active. How a gauge sends is
// its driver's to say. Files that passed config's checks give no error.
func NewSheet(b *config.Bench, j *config.Job, version int, sends func(gauge string) ledger.Sends) (*Sheet, error) {
	s := &Sheet{Bench: b, Job: j, Version: version, specs: map[specKey]method.Spec{}}
	if j == nil {
		s.Job, s.Loose = looseJob(b), true
	}
	set, errs := rules.Compile(s.Job.Rules)
	if len(errs) > 0 {
		return nil, errs[0]
	}
	s.rules = set
	for ci := range s.Job.Components {
		comp := &s.Job.Components[ci]
		for ki := range comp.Checks {
			k := &comp.Checks[ki]
			for _, stage := range s.stages() {
				spec, err := config.Spec(b, s.Job, ci, ki, stage)
				if err != nil {
					return nil, fmt.Errorf("component %q, check %q: %w", comp.Name, k.Name, err)
				}
				spec.Gauge.Sends = sends(spec.Gauge.Name)
				if spec.Minus != nil {
					spec.Minus.Sends = sends(spec.Minus.Name)
				}
				s.specs[specKey{ci, ki, stage}] = spec
			}
			if k.Method == method.Derived {
				e, err := rules.CompileDerived(k.Value)
				if err != nil {
					return nil, fmt.Errorf("component %q, check %q: %w", comp.Name, k.Name, err)
				}
				s.derived = append(s.derived, derivation{ci, ki, e})
				continue
			}
			for pi := range max(1, len(k.Positions)) {
				s.places = append(s.places, place{ci, ki, pi})
			}
		}
	}
	s.findSet()
	return s, nil
}

// shows is the unit that the bench's people read, quantity.None for each result's own.
// What is kept in words says it in this one, whatever the page is switched to.
func (s *Sheet) shows() quantity.Unit {
	u, err := quantity.ParseUnit(s.Bench.DisplayUnit)
	if err != nil {
		return quantity.None
	}
	return u
}

// stages are the job's stages; a job without any has one, without a name.
func (s *Sheet) stages() []string {
	if len(s.Job.Stages) == 0 {
		return []string{""}
	}
	return s.Job.Stages
}

func (s *Sheet) hasStage(name string) bool {
	for _, st := range s.stages() {
		if st == name {
			return true
		}
	}
	return false
}

func (s *Sheet) component(p place) *config.Component { return &s.Job.Components[p.component] }

func (s *Sheet) check(p place) *config.Check {
	return &s.Job.Components[p.component].Checks[p.check]
}

func (s *Sheet) spec(p place, stage string) method.Spec {
	return s.specs[specKey{p.component, p.check, stage}]
}

// positionName is "" for a check that names no positions.
func (s *Sheet) positionName(p place) string {
	if pos := s.check(p).Positions; p.position < len(pos) {
		return pos[p.position]
	}
	return ""
}

// tag is what readings and takes at p carry.
func (s *Sheet) tag(p place, stage string) ledger.Tag {
	return ledger.Tag{
		Stage:     stage,
		Component: s.component(p).Name,
		Position:  s.positionName(p),
		Check:     s.check(p).Name,
	}
}

// find looks a place up by names; an empty name matches the first.
func (s *Sheet) find(component, check, position string) (place, bool) {
	for _, p := range s.places {
		k := s.check(p)
		if (component == "" || component == s.component(p).Name) &&
			(check == "" || check == k.Name || check == k.ID) &&
			(position == "" || position == s.positionName(p)) {
			return p, true
		}
	}
	return place{}, false
}

// index is p's place in the order of work.
func (s *Sheet) index(p place) int {
	for i, q := range s.places {
		if p == q {
			return i
		}
	}
	return -1
}

// sameWork tells whether a new version of the files leaves the measuring at p
// as it was, so that a take in progress may go on.
func (s *Sheet) sameWork(t *Sheet, tag ledger.Tag) bool {
	p, ok := s.find(tag.Component, tag.Check, tag.Position)
	q, ok2 := t.find(tag.Component, tag.Check, tag.Position)
	if !ok || !ok2 || !t.hasStage(tag.Stage) {
		return false
	}
	a, b := s.spec(p, tag.Stage), t.spec(q, tag.Stage)
	minus := (a.Minus == nil) == (b.Minus == nil) && (a.Minus == nil || *a.Minus == *b.Minus)
	a.Minus, b.Minus = nil, nil
	return minus && a == b && s.sameSetting(t, p, q, tag.Stage)
}

// looseJob is what can be measured at once, without a job: each gauge of the
// bench by each method that fits it, without limits.
func looseJob(b *config.Bench) *config.Job {
	j := &config.Job{Number: LooseNumber, Machine: "no job"}
	for _, g := range b.Gauges {
		c := config.Component{Name: "loose part, " + g.Name}
		methods := []string{method.Play, method.RunOut, method.Size}
		if k := g.Unit.Kind(); k != quantity.Length && k != quantity.Bare {
			methods = []string{method.Drag}
		}
		for _, m := range methods {
			c.Checks = append(c.Checks, config.Check{Name: m, Method: m, Gauge: g.Name})
		}
		j.Components = append(j.Components, c)
	}
	j.Fill()
	return j
}
