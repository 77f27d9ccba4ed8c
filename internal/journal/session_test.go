package journal

import (
	"context"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"thouwright/internal/ledger"
)

const memDir = "logs/2026-041"

// session drives one journal the way capture does and keeps what it was told.
type session struct {
	t    *testing.T
	disk *memFS
	j    *Journal

	mu       sync.Mutex
	sent     uint64 // readings handed over
	takes    []ledger.Take
	acked    []uint64 // takes said to be kept
	refused  []uint64
	logged   uint64
	troubles []Trouble
	// snapshot, where set, is called at each take's receipt.
	snapshot func(take uint64)
}

func (s *session) options() Options {
	return Options{Dir: "logs", Number: "2026-041", FS: s.disk, Receipt: s.receipt, Part: 2500}
}

func (s *session) receipt(r Receipt) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if r.LoggedSeq < s.logged {
		s.t.Errorf("logged_seq went back from %d to %d", s.logged, r.LoggedSeq)
	}
	s.logged = r.LoggedSeq
	if r.Take != nil {
		s.acked = append(s.acked, r.Take.Take)
		if s.snapshot != nil {
			s.snapshot(r.Take.Take)
		}
	}
	if r.Refused != nil {
		s.refused = append(s.refused, r.Refused.Take)
	}
	if r.Trouble != nil {
		s.troubles = append(s.troubles, *r.Trouble)
	}
}

// open opens the folder, once more where a fault kept it from opening.
func (s *session) open() error {
	var err error
	s.j, _, err = Open(s.options())
	return err
}

// measure hands over a start, the sheets and takes of ten readings in small
// batches, half a second each.
func (s *session) measure(takes int) {
	s.handOver()
	at := stamp(s.sent)
	s.j.Event(ledger.Event{Seq: s.sent, At: at, Kind: ledger.EvStart})
	s.j.Sheet(at, sheets)
	for range takes {
		for range 5 {
			s.j.Readings(batch(s.sent, 2))
			s.sent += 2
			time.Sleep(100 * time.Millisecond)
		}
		t := take(uint64(len(s.takes))+1, s.sent-9, s.sent)
		s.takes = append(s.takes, t)
		s.j.Take(t)
		time.Sleep(10 * time.Millisecond)
	}
	s.wait(0)
}

// wait lets time pass. What was said until then can be read until the next
// wait; the lock is for the race detector, which does not know that.
func (s *session) wait(d time.Duration) {
	s.handOver()
	time.Sleep(d)
	synctest.Wait()
	s.handOver()
}

func (s *session) handOver() {
	s.mu.Lock()
	defer s.mu.Unlock()
}

func (s *session) close(patience time.Duration) error {
	s.handOver()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	return s.j.Close(ctx, stamp(s.sent+1))
}

// check holds the folder against what was promised: every take said to be
// kept is there with all its parts, every reading said to be logged is there,
// in order, and none of them twice. Where all is set, everything sent must be.
func (s *session) check(disk *memFS, all bool) {
	s.t.Helper()
	f, err := loadFolder(disk, memDir, "")
	if err != nil {
		s.t.Error(err)
		return
	}
	seen := map[uint64]int{}
	for i, got := range f.Takes {
		seen[got.Take]++
		want := s.takes[got.Take-1]
		want.At.Elapsed = 0
		if d := cmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" {
			s.t.Errorf("take %d: %s", got.Take, d)
		}
		if i > 0 && f.Takes[i-1].Take >= got.Take {
			s.t.Errorf("take %d stands before %d", f.Takes[i-1].Take, got.Take)
		}
	}
	for _, n := range s.acked {
		if seen[n] != 1 {
			s.t.Errorf("take %d was acknowledged and is there %d times", n, seen[n])
		}
	}
	var last, count uint64
	for r, err := range f.Readings() {
		if err != nil {
			s.t.Error(err)
			return
		}
		if r.Seq != last+1 {
			s.t.Errorf("reading %d follows %d", r.Seq, last)
		}
		if want := batch(r.Seq-1, 1)[0]; string(r.Raw) != string(want.Raw) || r.Value != want.Value {
			s.t.Errorf("reading %d is %q, sent was %q", r.Seq, r.Raw, want.Raw)
		}
		last = r.Seq
		count++
	}
	if last < s.logged {
		s.t.Errorf("readings up to %d were said to be logged, there are %d", s.logged, last)
	}
	if all && (last != s.sent || len(f.Takes) != len(s.takes)) {
		s.t.Errorf("%d of %d readings and %d of %d takes are there", last, s.sent, len(f.Takes), len(s.takes))
	}
}

// holds verifies the folder.
func (s *session) holds(disk *memFS) {
	s.t.Helper()
	r, err := disk.verify(memDir)
	if err != nil || !r.Holds {
		s.t.Errorf("verify: %v\n%s\n%s", err, strings.Join(damage(r), "\n"), strings.Join(r.Notes, "\n"))
	}
}

// calls is how many calls that could fail a whole session makes.
func calls(t *testing.T, run func(s *session)) (n int) {
	synctest.Test(t, func(t *testing.T) {
		s := &session{t: t, disk: newMemFS()}
		run(s)
		n = s.disk.made()
	})
	return n
}
