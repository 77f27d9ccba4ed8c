package bench

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/capture"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/tape"
)

// Recheck plays a job's tapes again and compares the takes they give with the
// recorded ones: a line for each run of the daemon that kept tapes.
func Recheck(ctx context.Context, f *journal.Folder) []journal.FileReport {
	parts := tapeParts(f)
	reports := make([]journal.FileReport, 0, len(parts))
	for _, p := range parts {
		r := journal.FileReport{Name: "tapes/" + filepath.Base(p.commands)}
		n, by, err := p.recheck(ctx, f)
		r.Rows = n
		switch {
		case err != nil && by != "" && by != startText():
			// Methods change between versions; what was recorded stays proved by its chains.
			r.Holds = true
			r.Text = fmt.Sprintf("recorded by %s; this is %s, which computes them otherwise: %v", by, startText(), err)
		case err != nil:
			r.Text = err.Error()
		default:
			r.Holds = true
			r.Text = fmt.Sprintf("the tapes give the %d recorded takes again", n)
		}
		reports = append(reports, r)
	}
	return reports
}

// Verify checks a job's folder and plays its tapes again, where it has any.
func Verify(dir string) (journal.Report, error) {
	return journal.Verify(dir, func(f *journal.Folder) []journal.FileReport {
		return Recheck(context.Background(), f)
	})
}

// tapePart is what one run of the daemon kept.
type tapePart struct {
	number   int
	commands string
	gauges   map[string]string
	began    time.Time
}

var tapeName = regexp.MustCompile(`^(.+?)(?:\.(\d+))?\.tape$`)

// tapeParts sorts a folder's tapes by the run that wrote them. A run without a
// tape of commands has none that can be played again.
func tapeParts(f *journal.Folder) []*tapePart {
	parts := map[int]*tapePart{}
	for _, name := range f.Tapes {
		m := tapeName.FindStringSubmatch(filepath.Base(name))
		if m == nil {
			continue
		}
		n := 1
		if m[2] != "" {
			n, _ = strconv.Atoi(m[2])
		}
		p := parts[n]
		if p == nil {
			p = &tapePart{number: n, gauges: map[string]string{}}
			parts[n] = p
		}
		path := filepath.Join(f.Dir, "tapes", filepath.Base(name))
		if m[1] == commandsTape {
			p.commands = path
			continue
		}
		p.gauges[m[1]] = path
	}
	var list []*tapePart
	for _, n := range slices.Sorted(maps.Keys(parts)) {
		if p := parts[n]; p.commands != "" && p.start() == nil {
			list = append(list, p)
		}
	}
	return list
}

func (p *tapePart) start() error {
	t, err := os.Open(p.commands)
	if err != nil {
		return err
	}
	defer t.Close()
	r := tape.NewReader(p.commands, t)
	if _, _, err := r.NextText(); r.Started().IsZero() {
		return errors.Join(errors.New("no start on the tape"), err)
	}
	p.began = r.Started()
	return nil
}

// run is what the events of a folder say of one run of the daemon. Their order
// decides, not their times: a clock may have been set back.
type run struct {
	from    capture.Resume
	stopped bool   // in order: its tapes hold all of it
	by      string // the program's version, as its start event says
	want    []ledger.Take
	named   map[string]bool // versions of sheet, bench and drivers stated up to its start
}

// runOf finds the run that began at a wall time.
func runOf(f *journal.Folder, began int64) (run, error) {
	byNumber := map[uint64]*ledger.Take{}
	for i := range f.Takes {
		byNumber[f.Takes[i].Take] = &f.Takes[i]
	}
	r := run{named: map[string]bool{}}
	found := false
	for _, e := range f.Events {
		var n uint64
		switch _, err := fmt.Sscanf(e.Text, "take %d:", &n); {
		case e.Kind == ledger.EvStart && found:
			return r, nil
		case e.Kind == ledger.EvStart:
			found, r.by = e.At.Wall == began, e.Text
		case e.Kind == ledger.EvStop && found:
			r.stopped = true
		case e.Kind == ledger.EvAnchor && err == nil && byNumber[n] != nil:
			if found {
				r.want = append(r.want, *byNumber[n])
			} else {
				r.from.Takes, r.from.Take = append(r.from.Takes, byNumber[n]), n
			}
		case (e.Kind == ledger.EvSheet || e.Kind == ledger.EvBench) && (!found || e.At.Wall == began):
			name, _, _ := strings.Cut(e.Text, " ")
			r.named[name] = true
		}
		if !found || e.Kind == ledger.EvStart {
			r.from.Seq = e.Seq
		}
		if !found {
			if n, ok := capture.AcceptedTake(e); ok {
				r.from.Accepted = append(r.from.Accepted, n)
			}
		}
	}
	if !found {
		return r, errors.New("no start event belongs to this tape")
	}
	return r, nil
}

// recheck plays one run's tapes from the state in which the run began.
func (p *tapePart) recheck(ctx context.Context, f *journal.Folder) (takes int, by string, err error) {
	tmp, err := os.MkdirTemp("", "thouwright-verify-")
	if err != nil {
		return 0, "", err
	}
	defer os.RemoveAll(tmp)
	r, err := runOf(f, p.began.UnixMicro())
	if err != nil {
		return 0, "", err
	}
	loaded, err := filesOf(f, r.named, tmp)
	if err != nil {
		return 0, "", err
	}
	dir, err := Replay{
		Tapes: p.gauges, Commands: p.commands, Dir: filepath.Join(tmp, "again"), Log: zerolog.Nop(), loaded: loaded, from: &r.from,
	}.Run(ctx)
	if err != nil {
		return 0, r.by, fmt.Errorf("cannot be played again: %w", err)
	}
	got, err := journal.Load(dir)
	if err != nil {
		return 0, "", err
	}
	want := r.want
	if !r.stopped {
		// A run that goes on, or was killed, left its tapes at another moment than
		// its rows: what both hold must agree.
		n := min(len(want), len(got.Takes))
		want, got.Takes = want[:n], got.Takes[:n]
	}
	return len(want), r.by, sameTakes(want, got.Takes)
}

// filesOf are the bench, the job and the drivers as a folder kept them, in the
// versions that were stated last.
func filesOf(f *journal.Folder, stated map[string]bool, tmp string) (*files, error) {
	text := map[string][]byte{}
	for _, s := range f.Sheets {
		if text[s.First] == nil || stated[s.Name] {
			text[s.First] = s.Text
		}
	}
	b, problems := config.ParseBench("bench.toml", text["bench.toml"])
	if b == nil {
		return nil, fmt.Errorf("the bench file in the folder: %w", problemsError(problems))
	}
	out := &files{bench: b, benchText: text["bench.toml"], jobText: text["job.toml"]}
	if out.jobText != nil {
		if out.job, problems = config.ParseJob("job.toml", out.jobText); out.job == nil {
			return nil, fmt.Errorf("the job sheet in the folder: %w", problemsError(problems))
		}
	}
	dir := filepath.Join(tmp, "drivers")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	for first, t := range text {
		if name, ok := strings.CutPrefix(first, "drivers/"); ok {
			if err := os.WriteFile(filepath.Join(dir, name), t, 0o644); err != nil {
				return nil, err
			}
		}
	}
	cat, errs := drivers.Load(dir)
	out.cat = cat
	return out, errors.Join(errs...)
}

// notReplayed are the columns in which a replay may rightly differ: versions of
// the sheet are counted anew, the chain differs with them, and the wall clock
// may have been adjusted during the run, which no tape knows. The chain proves
// the time that was written.
var notReplayed = map[string]bool{"sheet": true, "chain": true, "time": true}

// sameTakes compares takes by their other columns.
func sameTakes(want, got []ledger.Take) error {
	for i := range min(len(want), len(got)) {
		a, b := ledger.TakeFields(&want[i]), ledger.TakeFields(&got[i])
		for _, col := range ledger.TakesFile.Columns {
			if !notReplayed[col] && !same(a[col], b[col]) {
				return fmt.Errorf("take %d: %s was recorded as %q and comes out as %q", want[i].Take, col, a[col], b[col])
			}
		}
	}
	if len(want) != len(got) {
		return fmt.Errorf("%d takes were recorded, %d come out", len(want), len(got))
	}
	return nil
}

// nearly is how far, relatively, a figure may come out otherwise: another
// processor rounds otherwise in the last places.
const nearly = 1e-7

func same(a, b string) bool {
	if a == b {
		return true
	}
	x, err1 := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	return err1 == nil && err2 == nil && math.Abs(x-y) <= nearly*max(math.Abs(x), math.Abs(y))
}
