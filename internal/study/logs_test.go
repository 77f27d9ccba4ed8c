package study

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// jobFolder keeps takes through the journal itself.
func jobFolder(t *testing.T, takes []ledger.Take) string {
	t.Helper()
	dir := t.TempDir()
	j, _, err := journal.Open(journal.Options{Dir: dir, Number: "7", Bulk: true})
	if err != nil {
		t.Fatal(err)
	}
	for i, k := range takes {
		k.Take = uint64(i + 1)
		k.At = ledger.Stamp{Wall: 1_700_000_000_000_000 + int64(i)*60_000_000, Elapsed: int64(i) * 60_000_000}
		k.FirstSeq, k.LastSeq = 1, 2
		j.Take(k)
	}
	if err := j.Close(context.Background(), ledger.Stamp{}); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "7")
}

func TestFromLogs(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	const between, within = 0.5, 0.3
	var takes []ledger.Take
	one := func(check, pos, who string, v float64) ledger.Take {
		return ledger.Take{Tag: ledger.Tag{Component: "pin", Position: pos, Check: check}, Method: "play", Gauge: "dial-1", Unit: quantity.Thou,
			Result: v, U95: 1, Low: math.Inf(-1), High: 5, Confidence: 0.95, Operator: who,
			Budget: []ledger.BudgetLine{
				{Part: metrology.PartScatter, Value: within, Unit: quantity.Thou, Distribution: "t", Divisor: 1, U: within, Dof: 4},
				{Part: metrology.PartStep, Value: 0.1, Unit: quantity.Thou, Distribution: "triangular", Divisor: math.Sqrt(6), U: 0.1 / math.Sqrt(6), Dof: math.Inf(1)}}}
	}
	for i := range 120 {
		pos := []string{"upper", "lower"}[i%2]
		takes = append(takes, one("play", pos, "", 3+float64(i%2)+between*r.NormFloat64()+within*r.NormFloat64()))
	}
	takes = append(takes, one("play", "middle", "", 2)) // once only
	bound := one("play", "upper", "", 0.78)
	bound.Budget = []ledger.BudgetLine{{Part: metrology.PartStep, Value: 1, Unit: quantity.Thou, Distribution: "declining", Divisor: math.Sqrt(18), U: 1 / math.Sqrt(18), Dof: math.Inf(1)}}
	takes = append(takes, bound)
	dir := jobFolder(t, takes)
	d, err := FromLogs(dir, Pick{})
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Rows) != 120 || d.Gauge != "dial-1" || d.Unit != quantity.Thou || !d.Timed {
		t.Fatalf("%d rows of %q in %v, timed %v", len(d.Rows), d.Gauge, d.Unit, d.Timed)
	}
	res, err := Analyse(d, Options{})
	if err != nil {
		t.Fatal(err)
	}
	// The takes' own scatter is taken off: what stays is between set-ups.
	if v := float64(res.Set.Value); math.Abs(v-between) > 0.08 {
		t.Errorf("between set-ups %v, want %v", v, between)
	}
	if math.Abs(float64(res.Set.Scatter)-within) > 1e-9 {
		t.Errorf("scatter %v", res.Set.Scatter)
	}
	text, err := res.BenchText()
	if err != nil || !strings.HasSuffix(text, " thou") {
		t.Errorf("%q, %v", text, err)
	}
	notes := strings.Join(res.Notes, "\n")
	for _, want := range []string{"upper bound only", "measured once only", "one person"} {
		if !strings.Contains(notes, want) {
			t.Errorf("no note of %q in %q", want, notes)
		}
	}
	// Converted, everything scales.
	if err := d.Convert(quantity.UM); err != nil {
		t.Fatal(err)
	}
	um, err := Analyse(d, Options{})
	if err != nil || math.Abs(float64(um.Set.Value/res.Set.Value)-25.4) > 1e-9 {
		t.Errorf("in um %v, in thou %v, %v", um.Set.Value, res.Set.Value, err)
	}
	// Two checks repeated: choose.
	two := jobFolder(t, append(takes, one("wear", "hub", "", 2), one("wear", "hub", "", 2.5)))
	if _, err := FromLogs(two, Pick{}); err == nil || !strings.Contains(err.Error(), "--check") {
		t.Errorf("two checks: %v", err)
	}
	if d, err := FromLogs(two, Pick{Check: "wear"}); err != nil || len(d.Rows) != 2 {
		t.Errorf("chosen: %v", err)
	}
	if _, err := FromLogs(two, Pick{Check: "lash"}); err == nil || !strings.Contains(err.Error(), "nothing was measured twice") {
		t.Errorf("none: %v", err)
	}
	// By its id, which only the sheet has: of two checks of one name the right one.
	hub := one("wear", "hub", "", 7)
	hub.Tag.Component = "hub"
	named := jobFolder(t, append(takes, one("wear", "hub", "", 2), one("wear", "hub", "", 2.5), hub, hub, hub))
	sheet := "number = \"7\"\n[[component]]\nname = \"pin\"\n[[component.check]]\nname = \"wear\"\nmethod = \"play\"\ngauge = \"dial-1\"\n" +
		"[[component]]\nname = \"hub\"\n[[component.check]]\nid = \"hub_wear\"\nname = \"wear\"\nmethod = \"play\"\ngauge = \"dial-1\"\n"
	if err := os.WriteFile(filepath.Join(named, "job.toml"), []byte(sheet), 0o644); err != nil {
		t.Fatal(err)
	}
	if d, err := FromLogs(named, Pick{Check: "hub_wear"}); err != nil || len(d.Rows) != 3 {
		t.Errorf("by its id: %v", err)
	}
	if _, err := FromLogs(t.TempDir(), Pick{}); err == nil {
		t.Error("an empty folder is a study")
	}
}

// While a nut is turned the takes of one place differ because the play does:
// only a redo repeats one.
func TestAdjustingIsNoRepetition(t *testing.T) {
	var takes []ledger.Take
	for i, v := range []float64{9, 5, 2.4, 2.5, 2.3, 1.1, 1.2} {
		k := ledger.Take{Tag: ledger.Tag{Component: "hub", Check: "end play"}, Method: "end-play", Gauge: "dial-1", Unit: quantity.Thou, Result: v, U95: 0.3, Low: 1, High: 3, Confidence: 0.95}
		if i == 3 || i == 4 || i == 6 {
			k.Replaces = uint64(i)
		}
		takes = append(takes, k)
	}
	d, err := FromLogs(jobFolder(t, takes), Pick{})
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Rows) != 5 || d.Rows[0].Part != "hub (from take 3)" || d.Rows[4].Part != "hub (from take 6)" || len(d.Notes) != 1 {
		t.Errorf("%+v", d)
	}
	for i := range takes {
		takes[i].Replaces = 0
	}
	if _, err := FromLogs(jobFolder(t, takes), Pick{}); err == nil || !strings.Contains(err.Error(), "nothing was measured twice") {
		t.Errorf("%v", err)
	}
}

// Between two stages a part is worked on: what it was as found is no repetition of what
// it is now. Nor is a take that is not to be trusted.
func TestStagesAreNoRepetition(t *testing.T) {
	var takes []ledger.Take
	for i, v := range []float64{9.0, 9.2, 3.1, 3.0, 9.9} {
		k := ledger.Take{Tag: ledger.Tag{Component: "pin", Check: "play", Stage: "as found"}, Method: "play", Gauge: "dial-1", Unit: quantity.Thou, Result: v, U95: 0.3, Low: 1, High: 3, Confidence: 0.95}
		if i == 2 || i == 3 {
			k.Tag.Stage = "assembled"
		}
		if i == 4 {
			k.Distrust("the stand moved")
		}
		takes = append(takes, k)
	}
	dir := jobFolder(t, takes)
	d, err := FromLogs(dir, Pick{})
	if err != nil {
		t.Fatal(err)
	}
	r, err := Analyse(d, Options{})
	if err != nil {
		t.Fatal(err)
	}
	// By hand: variances 0.02 and 0.005, pooled 0.0125.
	if len(r.Parts) != 2 || math.Abs(float64(r.Set.Value)-math.Sqrt(0.0125)) > 1e-9 {
		t.Errorf("parts %q, repeatability %v thou, by hand %.4f", r.Parts, r.Set.Value, math.Sqrt(0.0125))
	}
	if !strings.Contains(strings.Join(r.Notes, "\n"), "left out: 1 take not to be trusted") {
		t.Errorf("notes %q", r.Notes)
	}
	if d, err := FromLogs(dir, Pick{Stage: "assembled"}); err != nil || len(d.Rows) != 2 || d.Rows[0].Part != "pin" {
		t.Errorf("one stage: %+v, %v", d, err)
	}
}
