package config

import (
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"thouwright/internal/form"
	"thouwright/internal/ledger"
)

// Problem is one mistake in a file, in one line. A warning refuses nothing.
type Problem = ledger.Problem

var fileLine = regexp.MustCompile(`^(.+?\.toml)(?::(\d+))?: (.*)$`)

// ProblemOf takes an error that says 'file:line: text' apart.
func ProblemOf(err error) Problem {
	m := fileLine.FindStringSubmatch(err.Error())
	if m == nil {
		return Problem{Text: err.Error()}
	}
	line, _ := strconv.Atoi(m[2])
	return Problem{File: m[1], Line: line, Text: m[3]}
}

// Refused tells whether any of the problems is more than a warning.
func Refused(ps []Problem) bool {
	for _, p := range ps {
		if !p.Warning {
			return true
		}
	}
	return false
}

// LoadBench reads a bench file. The bench is nil where a problem refuses it.
func LoadBench(file string) (*Bench, []Problem) {
	text, p := read(file, "bench file")
	if p != nil {
		return nil, []Problem{*p}
	}
	return ParseBench(file, text)
}

// ParseBench reads a bench file's text; file names it in problems, and relative
// paths in it are taken from the file's own folder.
func ParseBench(file string, text []byte) (*Bench, []Problem) {
	b := &Bench{
		LogDir: DefaultLogDir, JobDir: DefaultJobDir, DisplayUnit: DefaultDisplayUnit,
		Sound: Sound{Output: DefaultOutput, Volume: DefaultVolume, Speech: DefaultSpeech},
		Page:  Page{Listen: DefaultListen},
	}
	lines, ps := form.Parse(file, text, b)
	b.File, b.lines = file, lines
	ps = inOrder(append(ps, b.problems(Refused(ps))...))
	if Refused(ps) {
		return nil, ps
	}
	b.resolve()
	return b, ps
}

// inOrder sorts problems by line, as a person goes through the file.
func inOrder(ps []Problem) []Problem {
	sort.SliceStable(ps, func(i, k int) bool { return ps[i].Line < ps[k].Line })
	return ps
}

// resolve makes the bench's paths independent of where the program was started.
func (b *Bench) resolve() {
	dir := filepath.Dir(b.File)
	at := func(p string) string {
		if p == "" || filepath.IsAbs(p) {
			return p
		}
		return filepath.Join(dir, p)
	}
	b.LogDir, b.JobDir, b.DriverDir = at(b.LogDir), at(b.JobDir), at(b.DriverDir)
	for i, g := range b.Gauges {
		if f, ok := strings.CutPrefix(g.Port, "tape:"); ok {
			b.Gauges[i].Port = "tape:" + at(f)
		}
	}
}

// LoadJob reads a job sheet. The job is nil where a problem refuses it.
func LoadJob(file string) (*Job, []Problem) {
	text, p := read(file, "job sheet")
	if p != nil {
		return nil, []Problem{*p}
	}
	return ParseJob(file, text)
}

// ParseJob reads a job sheet's text; file names it in problems. What the sheet
// leaves to defaults is filled in, and a check without positions has one
// without a name.
func ParseJob(file string, text []byte) (*Job, []Problem) {
	j := &Job{}
	lines, ps := form.Parse(file, text, j)
	j.File, j.lines = file, lines
	ps = inOrder(append(ps, j.problems(Refused(ps))...))
	if Refused(ps) {
		return nil, ps
	}
	j.Fill()
	return j, ps
}

// Fill puts the defaults where the sheet says nothing.
func (j *Job) Fill() {
	for i := range j.Components {
		for k := range j.Components[i].Checks {
			j.Components[i].Checks[k].fill()
		}
	}
}

func (c *Check) fill() {
	set := func(s *string, v string) {
		if *s == "" {
			*s = v
		}
	}
	if c.Strokes == 0 {
		c.Strokes = DefaultStrokes
	}
	if c.MaxStrokes == 0 {
		c.MaxStrokes = max(DefaultMaxStrokes, c.Strokes)
	}
	if c.Confidence == 0 {
		c.Confidence = DefaultConfidence
	}
	if c.Rule == "" {
		c.Rule = DefaultRule
	}
	set(&c.Advance, DefaultAdvance)
	set(&c.Sense, DefaultSense)
	set(&c.Turning, DefaultTurning)
	set(&c.Compare, DefaultCompare)
	if c.Adjuster != nil {
		set(&c.Adjuster.Hand, DefaultHand)
	}
	if len(c.Positions) == 0 {
		c.Positions = []string{""}
	}
}

// read is form.ReadFile with its error as a problem.
func read(file, what string) ([]byte, *Problem) {
	text, err := form.ReadFile(file, what)
	if err != nil {
		return nil, &Problem{File: file, Text: err.Error()}
	}
	return text, nil
}
