package config

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"

	"thouwright/drivers"
	"thouwright/internal/quantity"
)

// WriteJob writes a job as a sheet that a person can go on with. Keys that
// hold their default are left out; reading it gives the same job.
func WriteJob(j *Job) []byte {
	w := &sheetWriter{}
	w.text("number", j.Number)
	w.text("customer", j.Customer)
	w.text("machine", j.Machine)
	w.text("assembly", j.Assembly)
	w.text("operator", j.Operator)
	w.list("stages", j.Stages)
	w.text("conditions", j.Conditions)
	w.measured("room", j.Room)
	for i := range j.Components {
		c := &j.Components[i]
		w.header("", "[[component]]")
		w.text("name", c.Name)
		w.thermal(Thermal{c.Material, c.Temperature, c.SinceHandling})
		for k := range c.Checks {
			w.header("  ", "[[component.check]]")
			w.check(&c.Checks[k])
		}
	}
	for _, n := range j.Notes {
		w.header("", "[[note]]")
		w.text("kind", n.Kind)
		w.text("stage", n.Stage)
		w.text("component", n.Component)
		w.text("text", n.Text)
		w.text("photo", n.Photo)
	}
	for _, r := range j.Rules {
		w.header("", "[[rule]]")
		w.text("when", r.When)
		w.text("say", r.Say)
		w.text("sound", r.Sound)
	}
	return w.Bytes()
}

type sheetWriter struct {
	bytes.Buffer
	indent string
}

func (w *sheetWriter) header(indent, h string) {
	w.indent = indent
	if w.Len() > 0 {
		w.WriteByte('\n')
	}
	w.WriteString(indent + h + "\n")
}

func (w *sheetWriter) key(key, value string) { w.WriteString(w.indent + key + " = " + value + "\n") }

func (w *sheetWriter) text(key, v string) {
	if v != "" {
		w.key(key, quote(v))
	}
}

func (w *sheetWriter) unless(usual, key, v string) {
	if v != usual {
		w.text(key, v)
	}
}

func (w *sheetWriter) number(key string, v, usual int) {
	if v != usual && v != 0 {
		w.key(key, strconv.Itoa(v))
	}
}

func (w *sheetWriter) list(key string, v []string) {
	if len(v) == 0 {
		return
	}
	q := make([]string, len(v))
	for i, s := range v {
		q[i] = quote(s)
	}
	w.key(key, "["+strings.Join(q, ", ")+"]")
}

func (w *sheetWriter) check(c *Check) {
	w.text("id", c.ID)
	w.text("name", c.Name)
	w.text("method", c.Method)
	w.text("gauge", c.Gauge)
	w.text("minus", c.Minus)
	w.text("value", c.Value)
	if len(c.Positions) != 1 || c.Positions[0] != "" {
		w.list("positions", c.Positions)
	}
	if c.Limits != nil {
		w.text("limits", c.Limits.String())
	}
	w.text("fit", c.Fit)
	if len(c.StageLimits) > 0 {
		var parts []string
		for stage, r := range c.StageLimits {
			parts = append(parts, quote(stage)+" = "+quote(r.String()))
		}
		sort.Strings(parts)
		w.key("stage_limits", "{ "+strings.Join(parts, ", ")+" }")
	}
	w.text("source", c.Source)
	w.number("strokes", c.Strokes, DefaultStrokes)
	w.number("max_strokes", c.MaxStrokes, max(DefaultMaxStrokes, c.Strokes))
	w.unless(DefaultAdvance, "advance", c.Advance)
	if c.Confidence != DefaultConfidence && c.Confidence != 0 {
		w.key("confidence", float(c.Confidence))
	}
	w.unless(string(DefaultRule), "rule", string(c.Rule))
	w.text("condition", c.Condition)
	w.text("tilt", c.Tilt)
	w.text("direction", c.Direction)
	if c.Master != nil {
		w.text("master", c.Master.String())
	}
	if c.MasterU95 != nil {
		w.text("master_u95", c.MasterU95.String())
	}
	w.unless(DefaultSense, "sense", c.Sense)
	if c.Expect != nil {
		w.text("expect", c.Expect.String())
	}
	w.unless(DefaultTurning, "turning", c.Turning)
	w.thermal(Thermal{c.Material, c.Temperature, c.SinceHandling})
	w.measured("gauge_temperature", c.GaugeTemperature)
	if c.MasterMaterial != nil {
		w.text("master_material", c.MasterMaterial.String())
	}
	w.measured("master_temperature", c.MasterTemperature)
	w.number("stations", c.Stations, 0)
	if c.Arm != nil {
		w.text("arm", c.Arm.String())
	}
	if c.ArmU95 != nil {
		w.text("arm_u95", c.ArmU95.String())
	}
	w.unless(DefaultCompare, "compare", c.Compare)
	if a := c.Adjuster; a != nil {
		w.header("  ", "[component.check.adjuster]")
		if a.Pitch != nil {
			w.text("pitch", a.Pitch.String())
		}
		if a.TPI != 0 {
			w.key("tpi", float(a.TPI))
		}
		w.unless(DefaultHand, "hand", a.Hand)
		w.number("slots", a.Slots, 0)
		w.number("holes", a.Holes, 0)
		w.list("steps", a.Steps)
	}
}

func (w *sheetWriter) thermal(t Thermal) {
	if t.Material != nil {
		w.text("material", t.Material.String())
	}
	w.measured("temperature", t.Temperature)
	if t.SinceHandling != nil {
		w.text("since_handling", t.SinceHandling.String())
	}
}

func (w *sheetWriter) measured(key string, m *quantity.Measured) {
	if m != nil {
		w.text(key, m.String())
	}
}

func float(v float64) string {
	s := strconv.FormatFloat(v, 'f', -1, 64)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

// quote writes a TOML string: plain quotes where they do, single ones around
// text with quotes in it, such as a derived value's.
func quote(s string) string {
	plain := true
	for _, r := range s {
		if r < ' ' || r == 0x7f || r == '\\' || r == '"' {
			plain = false
		}
	}
	if plain {
		return `"` + s + `"`
	}
	if !strings.ContainsFunc(s, func(r rune) bool { return r == '\'' || r < ' ' || r == 0x7f }) {
		return "'" + s + "'"
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// SaveSheet writes a job sheet that was made or edited on the page into the
// bench's job_dir and returns its path. It is checked first, against the bench
// too, and nothing is written with a mistake in it. A sheet of that number that
// is there already is kept unless replace is set.
func SaveSheet(b *Bench, number string, text []byte, cat *drivers.Catalogue, replace bool) (string, []Problem) {
	file := filepath.Join(b.JobDir, number+".toml")
	if !GoodNumber(number) {
		return "", []Problem{{Text: fmt.Sprintf("number: found %q, but %s", number, numberRule)}}
	}
	taken := []Problem{{File: file, Text: fmt.Sprintf("a job %s is there already: choose another number, or edit that one", number)}}
	if there, err := FindJob(b, number); err == nil {
		if !replace {
			return "", taken
		}
		file = there // a sheet's file may have another name than its number
	}
	j, ps := ParseJob(file, text)
	if j != nil {
		if j.Number != number {
			ps = append(ps, Problem{File: file, Line: j.lines.At("number"), Text: fmt.Sprintf("number: found %q, expected %q", j.Number, number)})
		}
		for _, p := range Validate(b, j, cat) {
			if p.File == file { // the bench file's own mistakes are not the sheet's
				ps = append(ps, p)
			}
		}
	}
	if Refused(ps) {
		return "", ps
	}
	if err := writeWhole(file, text, replace); errors.Is(err, fs.ErrExist) {
		return "", taken
	} else if err != nil {
		return "", append(ps, Problem{File: file, Text: err.Error()})
	}
	return file, ps
}

// writeWhole writes a file so that a reader or a power cut meets the old one or
// the new one, never half of it.
func writeWhole(file string, text []byte, replace bool) error {
	dir := filepath.Dir(file)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	tmp, err := os.CreateTemp(dir, ".new-*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.Write(text)
	if err == nil {
		err = tmp.Chmod(0o644)
	}
	if err == nil {
		err = tmp.Sync()
	}
	if e := tmp.Close(); err == nil {
		err = e
	}
	if err != nil {
		return err
	}
	if replace {
		return os.Rename(tmp.Name(), file)
	}
	if err := os.Link(tmp.Name(), file); err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	// No hard links here (a memory stick, say): look first, then rename.
	if _, err := os.Lstat(file); err == nil {
		return fs.ErrExist
	}
	return os.Rename(tmp.Name(), file)
}
