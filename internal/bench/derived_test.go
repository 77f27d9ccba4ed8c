//go:build !windows

package bench

import (
	"path/filepath"
	"strings"
	"testing"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// What is measured today and what was yesterday make the derived value together, and
// the tapes of today's run give it again.
func TestADerivedValueOverARestart(t *testing.T) {
	dial := newDial(t)
	r := &rig{t: t, dir: t.TempDir()}
	r.write("bench.toml", strings.Replace(rigBench, "%s", dial.port, 1))
	r.write("jobs/R-1.toml", strings.NewReplacer(`name = "play"`, "id = \"p\"\nname = \"play\"", `, "middle"`, "").Replace(rigJob)+`
[[component.check]]
name = "difference"
method = "derived"
value = 'p["lower"] - p["upper"]'
limits = "-0.1..0.1 mm"
`)
	r.start(true)
	r.rocks(dial, 0.05, 1)
	r.stop()
	r.start(true)
	r.rocks(dial, 0.09, 3) // and the difference
	r.stop()
	dir := filepath.Join(r.dir, "logs", "R-1")
	f, err := journal.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Takes) != 3 {
		t.Fatalf("%d takes", len(f.Takes))
	}
	if k, last := f.Takes[2], f.Takes[1]; k.Method != "derived" || k.Verdict != ledger.Pass || k.At.Wall != last.At.Wall || k.FirstSeq != f.Takes[0].FirstSeq || k.LastSeq != last.LastSeq {
		t.Errorf("%+v, of %+v", k, last)
	}
	if rep, err := Verify(dir); err != nil || !rep.Holds {
		t.Errorf("%+v, %v", rep, err)
	}
}
