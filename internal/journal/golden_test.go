package journal

import (
	"context"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write testdata/golden anew")

// The folder in testdata was written by an earlier build. It must verify for
// ever, and the same input must give the same bytes: a change of the format
// shows here, and is one of the contract.
func TestTheGoldenFolder(t *testing.T) {
	const golden = "testdata/golden/2026-041"
	dir := t.TempDir()
	if *update {
		dir = filepath.Dir(golden)
		if err := os.RemoveAll(golden); err != nil {
			t.Fatal(err)
		}
	}
	j, _ := mustOpen(t, Options{Dir: dir, Number: "2026-041", Part: 2200, Bulk: true})
	job(j, 0, 2)
	bound := take(3, 21, 24)
	bound.Bound, bound.Result, bound.Note = true, 0.0198, "the play is under one step"
	j.Readings(batch(20, 4))
	j.Take(bound)
	tape, err := j.Tape("dial-1.tape")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tape.Write([]byte("# started 2026-11-25T08:00:00Z\n0.100000\t2b302e303030310d0a\n")); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(context.Background(), stamp(25)); err != nil {
		t.Fatal(err)
	}
	if *update {
		_ = os.Remove(filepath.Join(golden, lockName))
	}
	mustHold(t, golden)
	if d := cmp.Diff(contents(t, golden), contents(t, j.Dir())); d != "" {
		t.Errorf("written anew, the folder differs (-golden +now):\n%s", d)
	}
	f, err := Load(golden)
	if err != nil || len(f.Problems) > 0 {
		t.Fatal(err, f.Problems)
	}
	if n := len(f.Takes); n != 3 || !f.Takes[2].Bound || f.Takes[2].Result != 0.0198 || len(f.Takes[2].Extras) != 1 {
		t.Errorf("takes %+v", f.Takes)
	}
}

// A program written from the README's words alone, with another language's
// SHA-256 and CSV reader, recomputes the same chains.
func TestAnIndependentReaderAgrees(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Fatal("python3 is missing: run scripts/test-needs.sh")
	}
	run := func(dir string) (string, error) {
		out, err := exec.Command(python, "../../scripts/check-chain.py", dir, "2026-041").CombinedOutput()
		return string(out), err
	}
	if out, err := run("testdata/golden/2026-041"); err != nil || !strings.Contains(out, "follow from each other") {
		t.Errorf("%v: %s", err, out)
	}
	dir := t.TempDir()
	for name, text := range contents(t, "testdata/golden/2026-041") {
		if filepath.Ext(name) == ".csv" {
			write(t, filepath.Join(dir, name), []byte(text))
		}
	}
	write(t, filepath.Join(dir, "takes.csv"), []byte(strings.Replace(contents(t, dir)["takes.csv"], "0.0428", "0.0427", 1)))
	if out, err := run(dir); err == nil || !strings.Contains(out, "takes.csv:2: the chain is") {
		t.Errorf("a changed take was not found: %v, %s", err, out)
	}
}
