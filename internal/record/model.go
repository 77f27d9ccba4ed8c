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
	Number    string
	Customer  string
	Machine   string
	Assembly  string
	Operators []string
	From, To  time.Time // first and last take; zero without one
	Stages    []string  // in the sheet's order; one without a name where it has none
	Holds     bool      // the logs verify
	Trouble   []string  // what does not, a line each
	Proof     []string  // what was verified, a line each
	Checks    []*Check
	Findings  []Finding
	Advice    []Advice
	Cautions  []string
	Gauges    []Gauge
	Happened  []Happening

	folder *journal.Folder
}

// Check is one check of the sheet with all its places.
type Check struct {
	Component, Name, ID string
	Method              string
	Condition, Source   string
	Fit, Expression     string
	Gauge, Minus        string
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
	Earlier []*Take // redone, or made while the adjuster was turned; oldest first
}

// Take is a take with its figures ready to be read.
type Take struct {
	*ledger.Take
	Result  Figure
	U95     Figure
	Limits  Limits
	Words   string  // 'too loose by …'
	Times   float64 // result over the upper limit; 0 where there is none
	Redone  uint64  // the take that supersedes it; 0: none
	Outcome *Outcome
}

// Finding is what no gauge sees.
type Finding struct {
	When         time.Time
	Place, Words string
	Photo        string // file in the job's folder, "" for none
}

// Advice is the next step a failed take asks for, with the sum behind it.
type Advice struct {
	Stage string
	sums.Suggestion
}

// Gauge is a gauge that was used, as the bench file describes it.
type Gauge struct {
	config.Gauge
	Overdue bool
}

// Happening is an event that a reader should know of.
type Happening struct {
	When time.Time
	Kind ledger.EventKind
	Text string
}

// Build reads a job's folder. proof is what verify said of it.
func Build(f *journal.Folder, proof journal.Report) (*Record, error) {
	r := &Record{Number: f.Number, folder: f, Cautions: advice.All()}
	r.prove(proof)
	bench, job := sheetsOf(f)
	if bench == nil {
		return nil, fmt.Errorf("%s holds no bench file that can be read: the record needs it for the gauges", f.Dir)
	}
	r.Customer, r.Machine, r.Assembly = job.Customer, job.Machine, job.Assembly
	r.Stages = job.Stages
	if len(r.Stages) == 0 {
		r.Stages = []string{""}
	}
	r.places(bench, job)
	r.takes()
	r.gauges(bench)
	r.events()
	r.advise(bench, job)
	return r, nil
}

// sheetsOf are the latest bench file and job sheet; a job without a sheet is an
// empty one.
func sheetsOf(f *journal.Folder) (*config.Bench, *config.Job) {
	b, _ := config.ParseBench("bench.toml", f.Bench())
	j := &config.Job{Number: f.Number}
	if text := f.Job(0); text != nil {
		if k, _ := config.ParseJob("job.toml", text); k != nil {
			j = k
		}
	}
	return b, j
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
			}
			for pi := range max(1, len(k.Positions)) {
				p := &Place{Check: c}
				if pi < len(k.Positions) {
					p.Position = k.Positions[pi]
				}
				for _, stage := range r.Stages {
					o := Outcome{Stage: stage}
					if spec, err := config.Spec(b, j, ci, ki, stage); err == nil {
						o.Limits = newLimits(spec.Limits.Low, spec.Limits.High, spec.Unit)
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
		n := newTake(t)
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
			r.Gauges = append(r.Gauges, Gauge{g, !g.Due.IsZero() && g.Due.Past(r.To)})
		}
	}
}

// events keeps what a reader should know: findings, redone and dropped takes,
// edits, losses.
func (r *Record) events() {
	for _, e := range r.folder.Events {
		when := e.At.Time()
		switch e.Kind {
		case ledger.EvNote:
			place, words, photo := ledger.ParseNote(e.Text)
			r.Findings = append(r.Findings, Finding{when, place, words, photo})
		case ledger.EvAnchor, ledger.EvStart, ledger.EvStop, ledger.EvPosition, ledger.EvJob, ledger.EvStage:
		default:
			r.Happened = append(r.Happened, Happening{when, e.Kind, e.Text})
		}
	}
}

func (r *Record) advise(b *config.Bench, j *config.Job) {
	for _, stage := range r.Stages {
		var takes []*ledger.Take
		for i := range r.folder.Takes {
			takes = append(takes, &r.folder.Takes[i])
		}
		for _, s := range advice.Next(b, j, stage, takes) {
			r.Advice = append(r.Advice, Advice{stage, s})
		}
	}
}
