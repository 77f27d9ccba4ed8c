package record

import (
	"strconv"
	"strings"

	"thouwright/config"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// sheets are a folder's bench file and job sheet, in every version that takes
// were made by.
type sheets struct {
	folder   *journal.Folder
	bench    *config.Bench
	job      *config.Job // the latest; empty where the job has none
	versions map[int]*config.Job
}

// sheetsOf reads the latest ones; a job without a sheet is an empty one.
func sheetsOf(f *journal.Folder) *sheets {
	s := &sheets{folder: f, job: &config.Job{Number: f.Number}, versions: map[int]*config.Job{}}
	s.bench, _ = config.ParseBench("bench.toml", f.Bench())
	if j := s.version(0); j != nil {
		s.job = j
	}
	return s
}

// version is a version of the job sheet, nil where it cannot be read.
func (s *sheets) version(n int) *config.Job {
	if j, known := s.versions[n]; known {
		return j
	}
	var j *config.Job
	if text := s.folder.Job(n); text != nil {
		j, _ = config.ParseJob("job.toml", text)
	}
	s.versions[n] = j
	return j
}

// find is the place of a take's check in the sheet it was made by.
func (s *sheets) find(t *ledger.Take) (j *config.Job, component, check int, ok bool) {
	j = s.version(t.Sheet)
	if j == nil {
		return nil, 0, 0, false
	}
	for ci := range j.Components {
		if j.Components[ci].Name != t.Tag.Component {
			continue
		}
		for ki := range j.Components[ci].Checks {
			if j.Components[ci].Checks[ki].Name == t.Tag.Check {
				return j, ci, ki, true
			}
		}
	}
	return nil, 0, 0, false
}

// limits are the limits as a take's sheet writes them, nil where it states none.
func (s *sheets) limits(t *ledger.Take) *quantity.Range {
	if j, ci, ki, ok := s.find(t); ok {
		return statedLimits(&j.Components[ci].Checks[ki], t.Tag.Stage)
	}
	return nil
}

// spec is a take's check as its method had it.
func (s *sheets) spec(t *ledger.Take) (spec method.Spec, check *config.Check, ok bool) {
	j, ci, ki, ok := s.find(t)
	if !ok || s.bench == nil {
		return spec, nil, false
	}
	spec, err := config.Spec(s.bench, j, ci, ki, t.Tag.Stage)
	return spec, &j.Components[ci].Checks[ki], err == nil
}

// statedLimits are a check's own limits at a stage, nil where it has none or a
// fit.
func statedLimits(c *config.Check, stage string) *quantity.Range {
	if r, ok := c.StageLimits[stage]; ok {
		return &r
	}
	return c.Limits
}

const simpleRule = "the result alone is compared with the limits (simple rule)"

// ruleText says how a check is decided.
func ruleText(c *config.Check) string {
	conf := c.Confidence
	if conf == 0 {
		conf = config.DefaultConfidence
	}
	pct := strconv.FormatFloat(100*conf, 'g', 4, 64) + " %"
	if c.Rule == "simple" {
		return simpleRule
	}
	return "a verdict needs " + pct + " probability (guarded rule)"
}

// adjusterText says what is turned to set a check.
func adjusterText(a *config.Adjuster) string {
	if a == nil {
		return ""
	}
	var parts []string
	if a.TPI > 0 {
		parts = append(parts, strconv.FormatFloat(a.TPI, 'g', -1, 64)+" threads an inch")
	} else if a.Pitch != nil {
		parts = append(parts, "pitch "+a.Pitch.String())
	}
	if a.Hand != "" {
		parts = append(parts, a.Hand+" hand")
	}
	if a.Slots > 0 {
		parts = append(parts, strconv.Itoa(a.Slots)+" slots")
	}
	if a.Holes > 0 {
		parts = append(parts, strconv.Itoa(a.Holes)+" cotter holes")
	}
	return strings.Join(parts, ", ")
}
