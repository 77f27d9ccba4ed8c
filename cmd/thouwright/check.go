package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strconv"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/capture"
	"thouwright/internal/quantity"
)

type checkCmd struct {
	Bench  string `short:"b" placeholder:"BENCH" help:"The bench file (default: bench.toml, where there is one)."`
	Job    string `short:"j" placeholder:"JOB" help:"One job: a sheet's path, or a number in job_dir (default: every sheet in job_dir)."`
	Driver string `short:"d" placeholder:"DRIVER" help:"Only this driver: a file's path, or a name."`
	JSON   bool   `name:"json" help:"Print a JSON object instead of lines."`
}

func (c *checkCmd) Example() string { return "thouwright check -b bench.toml -j 2026-041" }

// checked is what check --json prints.
type checked struct {
	OK       bool             `json:"ok"`
	Files    []checkedFile    `json:"files"`
	Problems []config.Problem `json:"problems"`
}

type checkedFile struct {
	File string `json:"file"`
	Kind string `json:"kind"` // bench, job, driver
	OK   bool   `json:"ok"`
	Says string `json:"says"`
	// Of a job: what the gauge of each check can decide, before anything is measured.
	Decides []string `json:"decides,omitempty"`
}

func (c *checkCmd) Run(ctx *runContext) error {
	r := &checked{Files: []checkedFile{}, Problems: []config.Problem{}}
	if c.Driver != "" {
		r.driver(c.Driver)
	} else {
		r.all(c.Bench, c.Job)
	}
	r.OK = !config.Refused(r.Problems)
	for _, p := range r.Problems {
		fmt.Fprintln(ctx.Err, p)
	}
	if c.JSON {
		e := json.NewEncoder(ctx.Out)
		e.SetIndent("", "  ")
		if err := e.Encode(r); err != nil {
			return workFailed{err}
		}
	} else {
		for _, f := range r.Files {
			word := "good"
			if !f.OK {
				word = "BAD "
			}
			fmt.Fprintf(ctx.Out, "%s  %-6s  %s  %s\n", word, f.Kind, f.File, f.Says)
			for _, d := range f.Decides {
				fmt.Fprintln(ctx.Out, "              "+d)
			}
		}
	}
	if !r.OK {
		return errors.New("") // the lines above say it all; status 2
	}
	return nil
}

// all checks the drivers, then the bench, then its job sheets.
func (r *checked) all(benchFile, job string) {
	if benchFile == "" {
		if _, err := os.Stat("bench.toml"); !errors.Is(err, fs.ErrNotExist) {
			benchFile = "bench.toml"
		}
	}
	var bench *config.Bench
	var ps []config.Problem
	if benchFile != "" {
		bench, ps = config.LoadBench(benchFile)
	}
	cat := r.drivers(bench)
	if benchFile == "" {
		if job != "" {
			r.add(config.Problem{Text: "-j needs a bench file: there is no bench.toml here; name one with -b"})
		}
		return
	}
	if bench != nil {
		ps = append(ps, config.Validate(bench, nil, cat)...)
	}
	says := ""
	if bench != nil {
		says = strconv.Itoa(len(bench.Gauges)) + " gauges"
	}
	r.file(benchFile, "bench", says, ps)
	if bench == nil {
		if job != "" {
			_, jps := config.LoadJob(job)
			r.file(job, "job", "by itself", jps)
		}
		return
	}
	for _, sheet := range r.sheets(bench, job) {
		r.sheet(bench, cat, sheet)
	}
}

// driver checks one driver alone.
func (r *checked) driver(name string) {
	d, err := findDriver(name)
	if err != nil {
		p := config.ProblemOf(err)
		r.file(name, "driver", "", []config.Problem{p})
		return
	}
	r.examples(d)
}

func (r *checked) examples(d *drivers.Driver) {
	var ps []config.Problem
	for _, err := range d.CheckExamples() {
		ps = append(ps, config.ProblemOf(err))
	}
	r.file(d.File, "driver", fmt.Sprintf("%d examples", len(d.Examples)), ps)
}

// drivers checks the built-in drivers and the bench's own: every example.
func (r *checked) drivers(bench *config.Bench) *drivers.Catalogue {
	dir := ""
	if bench != nil {
		dir = bench.DriverDir
	}
	cat, errs := drivers.Load(dir)
	for _, err := range errs {
		p := config.ProblemOf(err)
		r.file(p.File, "driver", "", []config.Problem{p})
	}
	for _, d := range cat.All() {
		r.examples(d)
	}
	return cat
}

// sheets lists the job sheets to be checked.
func (r *checked) sheets(bench *config.Bench, job string) []string {
	if job != "" {
		file, err := config.FindJob(bench, job)
		if err != nil {
			r.add(config.Problem{Text: err.Error()})
			return nil
		}
		return []string{file}
	}
	jobs, err := config.ListJobs(bench.JobDir)
	if err != nil {
		r.add(config.Problem{File: bench.JobDir, Text: err.Error()})
	}
	var files []string
	taken := map[string]string{}
	for _, s := range jobs {
		files = append(files, s.File)
		if first, twice := taken[s.Number]; twice {
			r.add(config.Problem{File: s.File, Text: fmt.Sprintf("the number %s is taken by %s: they would share a folder; give one another number", s.Number, first)})
		}
		taken[s.Number] = s.File
	}
	return files
}

func (r *checked) sheet(bench *config.Bench, cat *drivers.Catalogue, file string) {
	j, ps := config.LoadJob(file)
	says := ""
	if j != nil {
		n := 0
		for _, c := range j.Components {
			n += len(c.Checks)
		}
		says = fmt.Sprintf("%s, %d checks", j.Number, n)
		for _, p := range config.Validate(bench, j, cat) {
			if p.File == j.File { // the bench's own were told with it
				ps = append(ps, p)
			}
		}
	}
	r.file(file, "job", says, ps)
	if !config.Refused(ps) {
		r.Files[len(r.Files)-1].Decides = decides(bench, j)
	}
}

// decides says of each check of a sheet, and of each stage whose limits are its own,
// what its gauge can decide.
func decides(bench *config.Bench, j *config.Job) (says []string) {
	show, err := quantity.ParseUnit(bench.DisplayUnit)
	if err != nil {
		show = quantity.MM
	}
	for i, part := range j.Components {
		for k, c := range part.Checks {
			var said []string
			for _, stage := range append([]string{""}, j.Stages...) {
				spec, err := config.Spec(bench, j, i, k, stage)
				if err != nil {
					continue // the sheet was checked
				}
				line := capture.Decides(spec, show)
				if line == "" || slices.Contains(said, line) {
					continue
				}
				where := part.Name + ", " + c.Name
				if stage != "" {
					where += ", " + stage
				}
				said = append(said, line)
				says = append(says, where+": "+line)
			}
		}
	}
	return says
}

func (r *checked) file(file, kind, says string, ps []config.Problem) {
	r.Files = append(r.Files, checkedFile{File: file, Kind: kind, OK: !config.Refused(ps), Says: says})
	r.Problems = append(r.Problems, ps...)
}

func (r *checked) add(p config.Problem) { r.Problems = append(r.Problems, p) }
