package journal

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"thouwright/internal/ledger"
)

// deep asks for the long form of the tests that have one.
var deep = flag.Bool("deep", false, "run the long tests: thousands of lives and kills")

// promises is what a job's lives were told, from the first to the last.
type promises struct {
	t      *testing.T
	takes  map[uint64]ledger.Take // handed over, by number
	acked  []uint64
	tapes  map[string]string
	lives  int
	logged [][2]uint64 // readings said to be logged, a range for each life
}

// live is one life of the journal on a disk: it opens the folder, measures,
// and ends in order or not at all. It returns the disk as the next life finds
// it.
func (p *promises) live(r *rand.Rand, disk *memFS, calm bool) *memFS {
	trouble := 0.0
	if !calm && r.IntN(3) > 0 {
		trouble = 0.05 * r.Float64()
	}
	cutAt := 1 << 30
	if !calm && r.IntN(2) > 0 {
		cutAt = disk.made() + r.IntN(250)
	}
	burst := 0
	dice := rand.New(rand.NewPCG(r.Uint64(), 44)) // the disk's own, used under its lock
	disk.fail(func(n int, op, name string) (int, error) {
		if n >= cutAt {
			return dice.IntN(200), syscall.EIO
		}
		if burst == 0 && dice.Float64() < trouble {
			burst = 1 + dice.IntN(6)
		}
		if burst > 0 {
			burst--
			return dice.IntN(200), faults[dice.IntN(len(faults))]
		}
		return 0, nil
	})
	first, logged := uint64(0), uint64(0)
	o := Options{Dir: "logs", Number: "2026-041", FS: disk, Part: int64(1500 + r.IntN(4000)), Receipt: func(x Receipt) {
		logged = x.LoggedSeq
		if x.Take != nil {
			p.acked = append(p.acked, x.Take.Take)
		}
	}}
	var j *Journal
	var rec *Recovered
	var err error
	for range 20 {
		if j, rec, err = Open(o); err == nil || disk.made() >= cutAt {
			break
		}
		time.Sleep(time.Second)
	}
	kept := make([]func([]byte) []byte, 0, len(keptWays))
	for _, how := range slices.Sorted(maps.Keys(keptWays)) {
		kept = append(kept, keptWays[how])
	}
	if err != nil {
		return disk.powerCut(kept[r.IntN(len(kept))])
	}
	for _, n := range p.acked {
		if !slices.ContainsFunc(rec.Takes, func(t ledger.Take) bool { return t.Take == n }) {
			p.t.Errorf("take %d was acknowledged and is not recovered", n)
		}
	}
	seq, n := rec.LastSeq, rec.LastTake
	first = seq
	logged = seq
	j.Event(ledger.Event{Seq: seq, At: stamp(seq), Kind: ledger.EvStart})
	j.Sheet(stamp(seq), sheets)
	p.lives++
	tapeName, tapeText := fmt.Sprintf("dial.%d.tape", p.lives), ""
	tape, err := j.Tape(tapeName)
	if err != nil {
		p.t.Fatal(err)
	}
	for range r.IntN(8) {
		from := seq
		line := fmt.Sprintf("%d\t%s\n", seq, strings.Repeat("2b", r.IntN(100)))
		tapeText += line
		_, _ = tape.Write([]byte(line))
		for range 1 + r.IntN(5) {
			k := 1 + r.IntN(9)
			j.Readings(batch(seq, k))
			seq += uint64(k)
			time.Sleep(time.Duration(r.IntN(700)) * time.Millisecond)
		}
		n++
		p.takes[n] = take(n, from+1, seq)
		j.Take(take(n, from+1, seq))
	}
	patience := 90 * time.Second
	if disk.made() >= cutAt {
		patience = time.Millisecond
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if j.Close(ctx, stamp(seq)) == nil && tape.Err() == nil {
		p.tapes[tapeName] = tapeText // it ended in order: it is whole
	}
	if logged > first {
		p.logged = append(p.logged, [2]uint64{first + 1, logged})
	}
	disk.fail(nil)
	if disk.made() >= cutAt {
		return disk.powerCut(kept[r.IntN(len(kept))])
	}
	return disk
}

// Many lives of one job on a bad disk, with faults in bursts, power cuts and
// small parts: every promise of every life holds at the end.
func TestManyLivesOnABadDisk(t *testing.T) {
	lives := 150
	if *deep {
		lives = 5000
	}
	for seed := range lives {
		synctest.Test(t, func(t *testing.T) {
			r := rand.New(rand.NewPCG(uint64(seed), 43))
			p := &promises{t: t, takes: map[uint64]ledger.Take{}, tapes: map[string]string{}}
			disk := newMemFS()
			for range 6 {
				disk = p.live(r, disk, false)
			}
			disk = p.live(r, disk, true)
			p.check(disk)
			if t.Failed() {
				t.Fatalf("seed %d", seed)
			}
		})
		if t.Failed() {
			return
		}
	}
}

func (p *promises) check(disk *memFS) {
	f, err := loadFolder(disk, memDir, "")
	if err != nil {
		p.t.Fatal(err)
	}
	times := map[uint64]int{}
	for _, got := range f.Takes {
		times[got.Take]++
		want := p.takes[got.Take]
		want.At.Elapsed = 0
		if d := cmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" {
			p.t.Errorf("take %d: %s", got.Take, d)
		}
	}
	for _, n := range p.acked {
		if times[n] != 1 {
			p.t.Errorf("take %d was acknowledged and is there %d times", n, times[n])
		}
	}
	have := map[uint64]bool{}
	last := uint64(0)
	for r, err := range f.Readings() {
		if err != nil {
			p.t.Fatal(err)
		}
		if r.Seq <= last {
			p.t.Errorf("reading %d follows %d", r.Seq, last)
		}
		if want := batch(r.Seq-1, 1)[0]; string(r.Raw) != string(want.Raw) {
			p.t.Errorf("reading %d is %q, sent was %q", r.Seq, r.Raw, want.Raw)
		}
		last = r.Seq
		have[last] = true
	}
	for _, g := range p.logged {
		for n := g[0]; n <= g[1]; n++ {
			if !have[n] {
				p.t.Errorf("reading %d was said to be logged and is not there", n)
				break
			}
		}
	}
	texts := disk.texts(memDir)
	for name, want := range p.tapes {
		if texts["tapes/"+name] != want {
			p.t.Errorf("%s ended in order and holds %d bytes, expected %d", name, len(texts["tapes/"+name]), len(want))
		}
	}
	if r := f.verify(memDir); !r.Holds {
		p.t.Errorf("verify: %q, notes %q", damage(r), r.Notes)
	}
}
