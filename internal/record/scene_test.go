package record_test

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/rs/zerolog"

	"thouwright/config"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
	"thouwright/internal/record"
)

// scene writes a job's folder through the journal, as the daemon does, with takes
// of known results. Its data is invented; it serves the documents' look and that
// every number reaches them.
type scene struct {
	t    testing.TB
	j    *journal.Journal
	b    *config.Bench
	job  *config.Job
	dir  string
	seq  uint64
	take uint64
	rec  *record.Record // once it has ended
}

const sceneStart = int64(1795593600) * 1e6 // 2026-11-25T08:00:00Z

func (s *scene) stamp() ledger.Stamp {
	return ledger.Stamp{Wall: sceneStart + int64(s.seq)*100_000, Elapsed: int64(s.seq) * 100_000}
}

const sceneBench = `
[[gauge]]
name = "dial-1"
port = "tape:x"
driver = "signed-decimal"
unit = "in"
step = "0.0005 in"
error_local = "0.0002 in over 0.010 in"
certificate = "C-1182"
due = 2026-03-01
[[gauge]]
name = "mic-1"
port = "tape:y"
driver = "signed-decimal"
unit = "mm"
error = "0.002 mm"
`

func newScene(t testing.TB, bench, job string) *scene {
	t.Helper()
	return newSceneOf(t, bench, job, []byte(job))
}

// newSceneOf keeps another text of the sheet than the one it measures by: nil as
// in a job without one.
func newSceneOf(t testing.TB, bench, job string, kept []byte) *scene {
	t.Helper()
	s := &scene{t: t}
	var ps []config.Problem
	if s.b, ps = config.ParseBench("bench.toml", []byte(bench)); s.b == nil {
		t.Fatal(ps)
	}
	if s.job, ps = config.ParseJob("job.toml", []byte(job)); s.job == nil {
		t.Fatal(ps)
	}
	root := t.TempDir()
	var err error
	s.j, _, err = journal.Open(journal.Options{Dir: root, Number: s.job.Number, Log: zerolog.Nop(), Bulk: true})
	if err != nil {
		t.Fatal(err)
	}
	s.dir = s.j.Dir()
	s.event(ledger.EvStart, "thouwright (test)")
	s.j.Sheet(s.stamp(), journal.Sheets{Job: kept, Bench: []byte(bench), Drivers: map[string][]byte{}})
	return s
}

func (s *scene) event(kind ledger.EventKind, text string) {
	s.j.Event(ledger.Event{Seq: s.seq, At: s.stamp(), Kind: kind, Text: text})
}

// measure makes a take with so many readings: two stops a result apart, or about
// the result itself. scatter is the standard uncertainty of what scatters.
func (s *scene) measure(stage string, component, check, position int, result, scatter float64, readings int, change ...func(*ledger.Take)) {
	s.t.Helper()
	spec, err := config.Spec(s.b, s.job, component, check, stage)
	if err != nil {
		s.t.Fatal(err)
	}
	c := s.job.Components[component]
	k := c.Checks[check]
	tag := ledger.Tag{Stage: stage, Component: c.Name, Check: k.Name}
	if len(k.Positions) > position {
		tag.Position = k.Positions[position]
	}
	s.take++
	t := ledger.Take{Take: s.take, Tag: tag, CheckID: k.ID, Method: k.Method, Gauge: k.Gauge, Unit: spec.Unit, Result: result,
		Low: spec.Limits.Low, High: spec.Limits.High, Dof: 11.7, Confidence: 0.95, Strokes: 6, LeftOut: 1, DriftPerMin: -0.31 * scatter,
		FirstSeq: s.seq + 1, Operator: s.job.Operator, Sheet: 1}
	budget := metrology.Budget{metrology.Student("scatter", scatter, 5), metrology.Rect("gauge error", 1.7*scatter)}
	all := budget.Combine()
	t.U95 = all.U95
	v := metrology.Decide(result, all, spec.Limits, 0.95, metrology.Guarded)
	t.Verdict, t.Side, t.PIn, t.PBelow, t.PAbove = v.Verdict, v.Side, v.PIn, v.PBelow, v.PAbove
	if v.Verdict == ledger.Undecided {
		t.Settle(metrology.Settle(metrology.Question{Value: result, Combined: all, Limits: spec.Limits, Confidence: 0.95, Strokes: 6, Unit: spec.Unit}))
	}
	for _, p := range budget {
		t.Budget = append(t.Budget, ledger.BudgetLine{Part: p.Name, Value: p.Value, Unit: spec.Unit, Distribution: p.Shape.String(), Divisor: p.Divisor, U: p.U, Dof: p.Dof})
	}
	if k.Method != "derived" {
		s.rock(&t, spec.Unit, readings)
	}
	t.LastSeq, t.At = s.seq, s.stamp()
	for _, f := range change {
		f(&t)
	}
	s.j.Take(t)
}

// rock writes a take's readings in mm and its rests.
func (s *scene) rock(t *ledger.Take, unit quantity.Unit, readings int) {
	g := s.b.Gauge(t.Gauge)
	each := max(readings/8, 2)
	var batch []ledger.Reading
	for i := range readings {
		s.seq++
		side := 0.5
		if (i/each)%2 == 1 {
			side = -0.5
		}
		v := t.Result
		if t.Method == "play" || t.Method == "end-play" {
			v = 10*t.Result + side*t.Result
		}
		v += 0.02 * t.U95 * math.Sin(float64(i))
		if x, err := quantity.Convert(v, unit, g.Unit); err == nil {
			v = x
		}
		d, err := quantity.ParseDecimal(fmt.Sprintf("%.5f", v))
		if err != nil {
			s.t.Fatal(err)
		}
		batch = append(batch, ledger.Reading{Seq: s.seq, At: s.stamp(), Gauge: t.Gauge, Tag: &t.Tag, Raw: []byte(d.String()), Value: d, HasVal: true, Unit: g.Unit, Step: 0.00001, Motion: ledger.AtRest})
		if len(batch) == 5000 {
			s.j.Readings(batch)
			batch = nil
		}
		if i%each == each/2 && len(t.Rests) < 8 {
			r := ledger.Rest{Take: t.Take, Rest: len(t.Rests) + 1, FirstSeq: s.seq, LastSeq: s.seq, T: s.stamp().Seconds(), Side: "+", Level: 1, Value: t.Result, Used: len(t.Rests) != 3}
			if t.Method == "play" || t.Method == "end-play" {
				r.Value = 10*t.Result + side*t.Result
			}
			if side < 0 {
				r.Side = "-"
			}
			if !r.Used {
				r.Reason = "a short stroke"
			}
			t.Rests = append(t.Rests, r)
		}
	}
	s.j.Readings(batch)
}

// photo puts a picture of so many pixels into the folder.
func (s *scene) photo(name string, w, h int) {
	s.t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			img.SetRGBA(x, y, color.RGBA{uint8(255 * x / w), uint8(255 * y / h), 90, 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		s.t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(s.dir, "photos"), 0o755); err != nil {
		s.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(s.dir, "photos", name), b.Bytes(), 0o644); err != nil {
		s.t.Fatal(err)
	}
}

// end closes the journal and builds the record.
func (s *scene) end() *scene {
	s.t.Helper()
	s.event(ledger.EvStop, "stopped in order")
	if err := s.j.Close(context.Background(), s.stamp()); err != nil {
		s.t.Fatal(err)
	}
	s.rec = built(s.t, s.dir)
	return s
}

func built(t testing.TB, dir string) *record.Record {
	t.Helper()
	f, err := journal.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	proof, err := journal.Verify(dir)
	if err != nil {
		t.Fatal(err)
	}
	r, err := record.Build(f, proof)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The scenes that the documents must stand.

// axle is a job of two stages: worn as found, right when assembled, with notes,
// photographs, a redone take and one that was adjusted.
func axle(t testing.TB) *scene {
	s := newScene(t, sceneBench, `number = "T28-0203"
customer = "Ίκαρος & Сын, Łódź"
machine = "Tarnbeck T28"
assembly = "front axle"
operator = "R. Aske"
stages = ["as found", "assembled"]
conditions = "shop at 18 °C, parts there overnight"
[[component]]
name = "left swivel pin"
[[component.check]]
id = "pin_play"
name = "play in bushes"
method = "play"
gauge = "dial-1"
positions = ["straight ahead", "left lock", "right lock"]
limits = "0.020..0.080 mm"
stage_limits = { "as found" = "..0.150 mm" }
source = "Tarnbeck T28 workshop manual, sheet F4"
condition = "dry"
[[component.check]]
id = "pin"
name = "diameter"
method = "size"
gauge = "mic-1"
positions = ["upper bush"]
limits = "27.959..27.980 mm"
[[component]]
name = "left front hub"
[[component.check]]
name = "end play"
method = "end-play"
gauge = "dial-1"
limits = "0.0012..0.0040 in"
[component.check.adjuster]
pitch = "1.5 mm"
hand = "right"
slots = 6
holes = 2
[[component]]
name = "belt pulley"
[[component.check]]
name = "run-out of the rim"
method = "run-out"
gauge = "dial-1"
limits = "..0.250 mm"
[[note]]
stage = "as found"
component = "left swivel pin"
text = "rust pits at the lower seal's seat, 0.2 mm deep"
photo = "photos/seat.jpg"
[[note]]
kind = "renewed"
component = "left swivel pin"
text = "both bushes, phosphor bronze; both seals"
[[note]]
kind = "watch"
text = "grease every ten hours for the first week"
`)
	s.photo("seat.jpg", 800, 600)
	s.measure("as found", 0, 0, 0, 0.2183, 0.003, 90)
	s.measure("as found", 0, 0, 1, 0.1322, 0.003, 90)
	s.measure("as found", 0, 0, 2, 0.1486, 0.003, 90)
	s.measure("as found", 0, 1, 0, 27.9465, 0.0008, 60)
	s.measure("as found", 1, 0, 0, 0.0089, 0.0001, 90)
	s.event(ledger.EvNote, ledger.NoteText(ledger.Tag{Stage: "as found", Component: "left front hub"}, "Done: hub washed, races free of pitting", "", ""))
	s.event(ledger.EvNote, ledger.NoteText(ledger.Tag{Component: "belt pulley"}, "a picture that is not there", "photos/gone.jpg", ""))
	s.event(ledger.EvDropped, "belt pulley / run-out of the rim: started over")
	s.measure("assembled", 0, 0, 0, 0.0423, 0.002, 90)
	s.measure("assembled", 0, 0, 1, 0.0391, 0.002, 90)
	s.measure("assembled", 0, 0, 2, 0.0752, 0.003, 90, func(t *ledger.Take) { t.Operator = "М. Ильина" })
	s.measure("assembled", 1, 0, 0, 0.0061, 0.0001, 90)
	s.measure("assembled", 1, 0, 0, 0.00255, 0.0001, 90)
	s.measure("assembled", 2, 0, 0, 0.241, 0.002, 90)
	s.measure("assembled", 0, 0, 1, 0.0388, 0.002, 90, func(t *ledger.Take) { t.Replaces = 7 })
	return s.end()
}
