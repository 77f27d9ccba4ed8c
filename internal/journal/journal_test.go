package journal

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"go.uber.org/goleak"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// inbox collects receipts.
type inbox struct {
	mu    sync.Mutex
	all   []Receipt
	check func(Receipt)
}

func (b *inbox) put(r Receipt) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.all = append(b.all, r)
	if b.check != nil {
		b.check(r)
	}
}

func (b *inbox) takes() (n []uint64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range b.all {
		if r.Take != nil {
			n = append(n, r.Take.Take)
		}
	}
	return n
}

const start = int64(1795593600) * 1e6 // 2026-11-25T08:00:00Z

func stamp(seq uint64) ledger.Stamp {
	return ledger.Stamp{Wall: start + int64(seq)*100_000, Elapsed: int64(seq) * 100_000}
}

var pinTag = &ledger.Tag{Stage: "as found", Component: "left swivel pin", Position: "left lock", Check: "play, in bushes"}

// batch makes n readings behind seq.
func batch(seq uint64, n int) []ledger.Reading {
	b := make([]ledger.Reading, n)
	for i := range b {
		s := seq + uint64(i) + 1
		v := quantity.Decimal{Coef: s % 400, Scale: 4, Neg: s%3 == 0}
		b[i] = ledger.Reading{Seq: s, At: stamp(s), Gauge: "dial-1", Tag: pinTag, Raw: []byte(fmt.Sprintf("+%s in", v)),
			Value: v, HasVal: true, Unit: quantity.In, Step: 0.0001, Motion: ledger.Motion(s % 3)}
		if s%17 == 0 {
			b[i].HasVal, b[i].Value, b[i].Motion, b[i].Raw = false, quantity.Decimal{}, ledger.Faulted, []byte("\"Err\\,\x00\xff")
		}
	}
	return b
}

// take makes a take over the readings from first to last.
func take(n, first, last uint64) ledger.Take {
	t := ledger.Take{Take: n, At: stamp(last), Tag: *pinTag, Method: "play", Gauge: "dial-1", Unit: quantity.MM,
		Result: 0.0428, U95: 0.0031, Low: 0.009, High: 0.05, Verdict: ledger.Pass, PIn: 0.991, PBelow: 0, PAbove: 0.009,
		Dof: 5, Confidence: 0.95, Strokes: 6, LeftOut: 1, DriftPerMin: -0.0002, FirstSeq: first, LastSeq: last,
		Operator: "M. Aßmann", Sheet: 1, Note: "dry, \"as found\""}
	for i := range 3 {
		t.Rests = append(t.Rests, ledger.Rest{Take: n, Rest: i + 1, FirstSeq: first, LastSeq: last, T: 1.25, Side: "+", Level: 1, Value: 0.0211, Used: i != 1, Reason: ""})
	}
	t.Budget = []ledger.BudgetLine{
		{Part: "scatter", Value: 0.0007, Unit: quantity.MM, Distribution: "t", Divisor: 1, U: 0.0007, Dof: 5},
		{Part: "step", Value: 0.00254, Unit: quantity.MM, Distribution: "rectangular", Divisor: 2.44948974278, U: 0.00103695, Dof: math.Inf(1)}}
	t.Extras = []ledger.Extra{{Quantity: "eccentricity", Value: 0.0123, Unit: quantity.MM, U95: math.NaN()}}
	return t
}

var sheets = Sheets{Job: []byte("number = \"2026-041\"\n"), Bench: []byte("log_dir = \"logs\"\n"),
	Drivers: map[string][]byte{"signed-decimal": []byte("# a driver\n")}}

func mustOpen(t testing.TB, o Options) (*Journal, *Recovered) {
	t.Helper()
	j, rec, err := Open(o)
	if err != nil {
		t.Fatal(err)
	}
	return j, rec
}

func mustHold(t testing.TB, dir string) Report {
	t.Helper()
	r, err := Verify(dir)
	if err != nil {
		t.Fatal(err)
	}
	if !r.Holds {
		t.Fatalf("the folder does not verify: %+v", r)
	}
	return r
}

// job writes a whole small job: a start, a position, takes of ten readings.
func job(j *Journal, from, takes uint64) {
	j.Event(ledger.Event{At: stamp(from), Kind: ledger.EvStart, Text: "thouwright"})
	j.Sheet(stamp(from), sheets)
	j.Event(ledger.Event{Seq: from, At: stamp(from), Kind: ledger.EvStage, Text: pinTag.Stage})
	j.Event(ledger.Event{Seq: from, At: stamp(from), Kind: ledger.EvPosition, Text: ledger.PlaceText(*pinTag)})
	for i := range takes {
		seq := from + i*10
		j.Readings(batch(seq, 4))
		j.Readings(batch(seq+4, 6))
		j.Take(take(from/10+i+1, seq+1, seq+10))
	}
}

func TestAJobIsWrittenReadAndVerified(t *testing.T) {
	defer goleak.VerifyNone(t)
	dir := t.TempDir()
	in := &inbox{}
	j, rec := mustOpen(t, Options{Dir: dir, Number: "2026-041", Receipt: in.put})
	if !rec.New {
		t.Error("a new folder is not said to be new")
	}
	job(j, 0, 3)
	if err := j.Close(context.Background(), stamp(40)); err != nil {
		t.Fatal(err)
	}
	if got := in.takes(); !slices.Equal(got, []uint64{1, 2, 3}) {
		t.Errorf("receipts for takes %v, expected 1 2 3", got)
	}
	r := mustHold(t, j.Dir())
	if len(r.Notes) != 0 {
		t.Errorf("notes on a clean folder: %v", r.Notes)
	}
	f, err := Load(j.Dir())
	if err != nil || len(f.Problems) > 0 {
		t.Fatal(err, f.Problems)
	}
	want := []ledger.Take{take(1, 1, 10), take(2, 11, 20), take(3, 21, 30)}
	for i := range want {
		want[i].At.Elapsed = 0 // not in the log
	}
	if d := cmp.Diff(want, f.Takes, cmpopts.EquateNaNs()); d != "" {
		t.Error(d)
	}
	n := uint64(0)
	orig := batch(0, 30)
	for got, err := range f.Readings() {
		if err != nil {
			t.Fatal(err)
		}
		want := orig[n]
		want.Step = 0
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
		n++
	}
	if n != 30 {
		t.Errorf("%d readings, expected 30", n)
	}
}

func TestARestartGoesOnWhereTheJobWas(t *testing.T) {
	dir := t.TempDir()
	j, _ := mustOpen(t, Options{Dir: dir, Number: "2026-041"})
	job(j, 0, 3)
	if err := j.Close(context.Background(), stamp(40)); err != nil {
		t.Fatal(err)
	}
	j, rec := mustOpen(t, Options{Dir: dir, Number: "2026-041"})
	if rec.New || rec.LastSeq != 30 || rec.LastTake != 3 || len(rec.Takes) != 3 || rec.Sheet != 1 || string(rec.SheetTxt) != string(sheets.Job) {
		t.Errorf("recovered %+v", rec)
	}
	if rec.Place != *pinTag {
		t.Errorf("place %+v, expected %+v", rec.Place, *pinTag)
	}
	if !rec.Measured {
		t.Error("take 3 was made since its place became active, and nothing tells of a move behind it")
	}
	job(j, 30, 2)
	other := sheets
	other.Job = []byte("number = \"2026-041\"\n# edited\n")
	if n := j.Sheet(stamp(60), other); n != 2 {
		t.Errorf("the edited sheet is version %d, expected 2", n)
	}
	if err := j.Close(context.Background(), stamp(60)); err != nil {
		t.Fatal(err)
	}
	mustHold(t, j.Dir())
	j, _ = mustOpen(t, Options{Dir: dir, Number: "2026-041"})
	back := *pinTag
	back.Position = "right lock"
	j.Event(ledger.Event{Seq: 50, At: stamp(61), Kind: ledger.EvStart})
	j.Event(ledger.Event{Seq: 50, At: stamp(61), Kind: ledger.EvPosition, Text: ledger.PlaceText(back)})
	if err := j.Close(context.Background(), stamp(62)); err != nil {
		t.Fatal(err)
	}
	j, rec = mustOpen(t, Options{Dir: dir, Number: "2026-041"})
	if rec.Measured || rec.Place != back {
		t.Errorf("nothing was measured at %+v, found %+v, measured %v", back, rec.Place, rec.Measured)
	}
	if err := j.Close(context.Background(), stamp(62)); err != nil {
		t.Fatal(err)
	}
	if b, err := os.ReadFile(filepath.Join(j.Dir(), "job.2.toml")); err != nil || string(b) != string(other.Job) {
		t.Errorf("job.2.toml: %q, %v", b, err)
	}
}

func TestBulkWritesTheSameBytes(t *testing.T) {
	var folders [2]string
	for i, bulk := range []bool{false, true} {
		dir := t.TempDir()
		in := &inbox{}
		j, _ := mustOpen(t, Options{Dir: dir, Number: "7", Bulk: bulk, Part: 1500, Receipt: in.put})
		job(j, 0, 20)
		if err := j.Close(context.Background(), stamp(300)); err != nil {
			t.Fatal(err)
		}
		if len(in.takes()) != 20 {
			t.Errorf("bulk %v: %d receipts", bulk, len(in.takes()))
		}
		mustHold(t, j.Dir())
		folders[i] = j.Dir()
	}
	a, b := contents(t, folders[0]), contents(t, folders[1])
	if len(a) < 12 {
		t.Errorf("only %d files: the parts did not go on", len(a))
	}
	if d := cmp.Diff(a, b); d != "" {
		t.Error(d)
	}
}

// contents is every file of a folder but the lock.
func contents(t testing.TB, dir string) map[string]string {
	m := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == lockName {
			return err
		}
		b, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		m[rel] = string(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func contextFor(t testing.TB, d time.Duration) (context.Context, context.CancelFunc) {
	return context.WithTimeout(t.Context(), d)
}
