// Package record makes the document that is handed over with a job: one model
// of what was measured, built once from the job's folder, and its forms (HTML,
// PDF, spreadsheet, table). It writes nothing into the folder.
package record

import (
	"fmt"
	"slices"
	"time"

	"thouwright/config"
	"thouwright/internal/advice"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
	"thouwright/internal/sums"
)

// Record is a job's document before it has a form. Texts are as people wrote
// them; each form makes them harmless in its own way.
type Record struct {
	Number     string
	Customer   string
	Machine    string
	Assembly   string
	Conditions string
	Operators  []string
	From, To   time.Time // first and last take; zero without one
	Stages     []string  // in the sheet's order; one without a name where it has none
	Holds      bool      // the logs verify
	Trouble    []string  // what does not, a line each
	Proof      []string  // what was verified, a line each
	Checks     []*Check
	Findings   []Finding
	Kept       []Finding // sums that were worked out and kept, which are none
	Advice     []Advice
	Cautions   []string
	Gauges     []Gauge
	Happened   []Happening
	Files      []File

	folder *journal.Folder
	sheets *sheets
	drawn  map[*ledger.Take]*trace // once any is asked for
}

// Check is one check of the sheet with all its places.
type Check struct {
	Component, Name, ID string
	Method              string
	Condition, Source   string
	Fit, Expression     string
	Gauge, Minus        string
	Rule                string             // how it is decided
	Adjuster            string             // what is turned, "" for nothing
	Arm                 *quantity.Quantity // turns a gauge's force into a torque; nil: none
	Places              []*Place
}

// Place is one position of a check, at every stage.
type Place struct {
	Check    *Check
	Position string
	At       []Outcome // parallel to Record.Stages
}

// Outcome is what was found at a place at one stage.
type Outcome struct {
	Stage   string
	Limits  Limits
	Take    *Take   // the one that counts; nil: not measured
	gauge   string  // the check's
	Earlier []*Take // redone, or made while the adjuster was turned; oldest first
}

// Finding is what no gauge sees.
type Finding struct {
	When         time.Time // zero where the sheet says it
	Kind         string    // found, done, renewed, watch, sum
	Place, Words string
	Photo        string // file in the job's folder, "" for none
}

// Advice is the next step a failed take asks for, with the sum behind it.
type Advice struct {
	Stage string
	Open  bool // the take still stands: nothing newer was measured there
	sums.Suggestion
}

// Gauge is a gauge that was used, as the bench file describes it.
type Gauge struct {
	config.Gauge
	Overdue bool // its certificate was past due at its last take
}

// Happening is an event that a reader should know of. Text names the gauge where
// it is about one.
type Happening struct {
	When time.Time
	Kind ledger.EventKind
	Text string
}

// File is a version of a job sheet, bench file or driver that was used.
type File struct{ Name, Sum string }

// Build reads a job's folder. proof is what verify said of it.
func Build(f *journal.Folder, proof journal.Report) (*Record, error) {
	s := sheetsOf(f)
	r := &Record{Number: f.Number, folder: f, sheets: s}
	r.prove(proof)
	if s.bench == nil {
		return nil, fmt.Errorf("%s holds no bench file that can be read: the record needs it for the gauges", f.Dir)
	}
	j := s.job
	r.Customer, r.Machine, r.Assembly, r.Conditions = j.Customer, j.Machine, j.Assembly, j.Conditions
	r.Stages = slices.Clone(j.Stages)
	if len(r.Stages) == 0 {
		r.Stages = []string{""}
	}
	r.places(s.bench, j)
	r.takes()
	if len(r.Operators) == 0 && j.Operator != "" {
		r.Operators = []string{j.Operator}
	}
	r.gauges(s.bench)
	r.notes(j)
	r.events()
	r.advise(s.bench, j)
	r.Cautions = advice.Of(r.methods(), adjusts(j))
	for _, v := range f.Sheets {
		r.Files = append(r.Files, File{v.Name, v.Sum})
	}
	return r, nil
}

func (r *Record) methods() (all []string) {
	for _, c := range r.Checks {
		all = append(all, c.Method)
	}
	return all
}

// adjusts tells whether something is set by an adjuster in a job.
func adjusts(j *config.Job) bool {
	for _, part := range j.Components {
		for _, k := range part.Checks {
			if k.Adjuster != nil {
				return true
			}
		}
	}
	return false
}

func (r *Record) prove(p journal.Report) {
	r.Holds = p.Holds
	for _, f := range p.Files {
		line := f.Name + ": " + f.Text
		r.Proof = append(r.Proof, line)
		if !f.Holds {
			r.Trouble = append(r.Trouble, line)
		}
	}
}

// places lays out every check of the sheet at every stage.
func (r *Record) places(b *config.Bench, j *config.Job) {
	for ci := range j.Components {
		comp := &j.Components[ci]
		for ki := range comp.Checks {
			k := &comp.Checks[ki]
			c := &Check{
				Component: comp.Name, Name: k.Name, ID: k.ID, Method: k.Method, Condition: k.Condition,
				Source: k.Source, Fit: k.Fit, Expression: k.Value, Gauge: k.Gauge, Minus: k.Minus, Arm: k.Arm,
				Rule: ruleText(k), Adjuster: adjusterText(k.Adjuster),
			}
			for pi := range max(1, len(k.Positions)) {
				p := &Place{Check: c}
				if pi < len(k.Positions) {
					p.Position = k.Positions[pi]
				}
				for _, stage := range r.Stages {
					o := Outcome{Stage: stage, gauge: c.Gauge}
					if spec, err := config.Spec(b, j, ci, ki, stage); err == nil {
						o.Limits = newLimits(spec.Limits.Low, spec.Limits.High, spec.Unit, statedLimits(k, stage))
					}
					p.At = append(p.At, o)
				}
				c.Places = append(c.Places, p)
			}
			r.Checks = append(r.Checks, c)
		}
	}
}

// takes puts every take at its place. One whose place the sheet no longer has
// makes a place of its own: nothing measured is left out.
func (r *Record) takes() {
	superseded := map[uint64]uint64{}
	for i := range r.folder.Takes {
		if t := &r.folder.Takes[i]; t.Replaces != 0 {
			superseded[t.Replaces] = t.Take
		}
	}
	for i := range r.folder.Takes {
		t := &r.folder.Takes[i]
		o := r.outcome(t)
		n := newTake(t, r.sheets.limits(t))
		n.Redone, n.Outcome = superseded[t.Take], o
		if o.Take != nil {
			o.Earlier = append(o.Earlier, o.Take)
		}
		o.Take = n
		o.Limits = n.Limits
		if t.Operator != "" && !slices.Contains(r.Operators, t.Operator) {
			r.Operators = append(r.Operators, t.Operator)
		}
		when := t.At.Time()
		if r.From.IsZero() || when.Before(r.From) {
			r.From = when
		}
		if when.After(r.To) {
			r.To = when
		}
	}
}

func (r *Record) outcome(t *ledger.Take) *Outcome {
	s := slices.Index(r.Stages, t.Tag.Stage)
	if s < 0 {
		s = len(r.Stages)
		r.Stages = append(r.Stages, t.Tag.Stage)
		for _, c := range r.Checks {
			for _, p := range c.Places {
				p.At = append(p.At, Outcome{Stage: t.Tag.Stage})
			}
		}
	}
	var check *Check
	for _, c := range r.Checks {
		if c.Component != t.Tag.Component || c.Name != t.Tag.Check {
			continue
		}
		check = c
		for _, p := range c.Places {
			if p.Position == t.Tag.Position {
				return &p.At[s]
			}
		}
	}
	if check == nil {
		check = &Check{Component: t.Tag.Component, Name: t.Tag.Check, ID: t.CheckID, Method: t.Method, Gauge: t.Gauge}
		r.Checks = append(r.Checks, check)
	}
	p := &Place{Check: check, Position: t.Tag.Position}
	for _, stage := range r.Stages {
		p.At = append(p.At, Outcome{Stage: stage})
	}
	check.Places = append(check.Places, p)
	return &p.At[s]
}

// gauges keeps those that were used, in the order of the bench file.
func (r *Record) gauges(b *config.Bench) {
	used := map[string]bool{}
	for _, c := range r.Checks {
		used[c.Gauge], used[c.Minus] = true, true
	}
	for i := range r.folder.Takes {
		used[r.folder.Takes[i].Gauge] = true
	}
	for _, g := range b.Gauges {
		if used[g.Name] {
			r.Gauges = append(r.Gauges, Gauge{g, !g.Due.IsZero() && g.Due.Past(r.lastUse(g.Name))})
		}
	}
}

// Outcome is a place's at the stage of a number.
func (p *Place) Outcome(stage int) *Outcome { return &p.At[stage] }
