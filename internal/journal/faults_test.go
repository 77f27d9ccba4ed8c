package journal

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"syscall"
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

// Every call fails in turn, once or for a while, with every error a disk has:
// nothing acknowledged is missing, nothing is lost, and the folder verifies.
func TestEveryFaultInTurn(t *testing.T) {
	whole := func(s *session) {
		if err := s.open(); err != nil {
			s.t.Error(err)
		}
		s.measure(4)
		if err := s.close(time.Minute); err != nil {
			s.t.Error(err)
		}
	}
	n := calls(t, whole)
	t.Logf("%d calls", n)
	for _, mode := range []struct {
		name  string
		calls int           // so many calls fail in a row …
		time  time.Duration // … or all of them for so long
		part  int           // bytes of a failing write that still get in
	}{
		{"once", 1, 0, 0}, {"once, short write", 1, 0, 37}, {"three times", 3, 0, 61}, {"for 20 s", 0, 20 * time.Second, 5},
	} {
		for k := 1; k <= n; k++ {
			fault := faults[k%len(faults)]
			synctest.Test(t, func(t *testing.T) {
				s := &session{t: t, disk: newMemFS()}
				var since time.Time
				what := ""
				s.disk.fail(func(n int, op, name string) (int, error) {
					if n == k {
						since, what = time.Now(), op+" "+name
					}
					if n < k || mode.calls > 0 && n >= k+mode.calls || mode.time > 0 && time.Since(since) > mode.time {
						return 0, nil
					}
					return mode.part, fault
				})
				for s.open() != nil { // a start that fails says so, and is tried again
					time.Sleep(time.Second)
				}
				s.measure(4)
				err := s.close(time.Minute)
				if err != nil && !strings.HasPrefix(what, "close ") {
					t.Errorf("close: %v", err)
				}
				s.disk.fail(nil)
				s.check(s.disk, true)
				s.holds(s.disk)
				if len(s.acked) != 4 {
					t.Errorf("%d takes acknowledged, expected 4", len(s.acked))
				}
				if k := len(s.troubles); k > 0 && !s.troubles[k-1].Over {
					t.Errorf("the trouble's end was not said: %+v", s.troubles)
				}
				if t.Failed() {
					t.Fatalf("fault: %s at call %d (%s), %v", mode.name, k, what, fault)
				}
			})
			if t.Failed() {
				return
			}
		}
	}
}

// The power goes at every call in turn; what was acknowledged before is there
// whatever the disk made of what was not synced, and the job goes on.
func TestThePowerGoesAtEveryCall(t *testing.T) {
	n := calls(t, func(s *session) {
		if err := s.open(); err != nil {
			s.t.Error(err)
		}
		s.measure(3)
		if err := s.close(time.Minute); err != nil {
			s.t.Error(err)
		}
	})
	for k := 1; k <= n; k++ {
		synctest.Test(t, func(t *testing.T) {
			s := &session{t: t, disk: newMemFS()}
			s.disk.fail(func(n int, op, name string) (int, error) {
				if n >= k {
					return 13, syscall.EIO
				}
				return 0, nil
			})
			if s.open() == nil {
				s.measure(3)
				_ = s.close(time.Second)
			}
			for how, kept := range keptWays {
				again := &session{t: t, disk: s.disk.powerCut(kept), acked: slices.Clone(s.acked), logged: s.logged}
				var rec *Recovered
				var err error
				if again.j, rec, err = Open(again.options()); err != nil {
					t.Errorf("power cut at call %d, the disk kept %s: %v", k, how, err)
					continue
				}
				if rec.LastSeq < s.logged || rec.LastTake < uint64(len(s.acked)) {
					t.Errorf("recovered reading %d, take %d; acknowledged were %d, %d", rec.LastSeq, rec.LastTake, s.logged, len(s.acked))
				}
				// The run that comes goes on behind what was found: the same
				// takes and readings would come again, so number them on.
				again.sent = rec.LastSeq
				again.takes = slices.Clone(s.takes)
				for uint64(len(again.takes)) > rec.LastTake {
					again.takes = again.takes[:len(again.takes)-1]
				}
				again.measure(1)
				if err := again.close(time.Second); err != nil {
					t.Error(err)
				}
				again.check(again.disk, false)
				again.holds(again.disk)
				if t.Failed() {
					t.Fatalf("power cut at call %d, the disk kept %s", k, how)
				}
			}
		})
		if t.Failed() {
			return
		}
	}
}

// At the very moment of a take's receipt the power may go, with every fault
// before it: the take must be on the disk then, not a little later.
func TestTheReceiptComesAfterTheDisk(t *testing.T) {
	for k := 0; k <= 60; k += 3 {
		synctest.Test(t, func(t *testing.T) {
			s := &session{t: t, disk: newMemFS()}
			if err := s.open(); err != nil {
				t.Fatal(err)
			}
			from := s.disk.made()
			s.disk.fail(func(n int, op, name string) (int, error) {
				if k > 0 && n == from+k {
					return 20, syscall.EIO
				}
				return 0, nil
			})
			s.snapshot = func(take uint64) {
				found := s.disk.powerCut(keptWays["nothing"])
				now := &session{t: t, disk: found, takes: s.takes, acked: slices.Clone(s.acked), logged: s.logged}
				now.check(found, false)
			}
			s.measure(4)
			if err := s.close(time.Minute); err != nil {
				t.Error(err)
			}
			if len(s.acked) != 4 {
				t.Errorf("%d receipts, expected 4", len(s.acked))
			}
		})
	}
}

// A disk that stays full: no take is acknowledged, readings are held up to the
// bound and then lost, counted and said; when room returns everything held is
// written in order.
func TestAFullDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &session{t: t, disk: newMemFS()}
		o := s.options()
		o.Limit, o.Part = 200*readingCost, 0
		var err error
		if s.j, _, err = Open(o); err != nil {
			t.Fatal(err)
		}
		s.measure(2)
		s.disk.mu.Lock()
		s.disk.room = 500
		s.disk.mu.Unlock()
		s.measure(4) // fits in memory
		if len(s.acked) != 2 {
			t.Errorf("takes %v acknowledged on a full disk", s.acked)
		}
		if len(s.troubles) == 0 || !errors.Is(s.troubles[0].Err, syscall.ENOSPC) || !strings.Contains(s.troubles[0].Text, "held in memory") {
			t.Errorf("trouble: %+v", s.troubles)
		}
		kept := s.sent
		s.measure(40) // does not
		synctest.Wait()
		s.j.mu.Lock()
		held := s.j.queued + s.j.held.Load()
		s.j.mu.Unlock()
		if held > o.Limit*5/4+4*readingCost {
			t.Errorf("%d bytes are held, the bound is %d", held, o.Limit)
		}
		lost := s.troubles[len(s.troubles)-1].Lost
		if lost == 0 || len(s.refused) == 0 {
			t.Fatalf("%d readings lost and %d takes refused, expected some of both", lost, len(s.refused))
		}
		if len(s.acked) != 2 {
			t.Errorf("takes %v acknowledged on a full disk", s.acked)
		}
		s.disk.mu.Lock()
		s.disk.room = -1
		s.disk.mu.Unlock()
		s.wait(time.Minute)
		lost = s.troubles[len(s.troubles)-1].Lost
		if !s.troubles[len(s.troubles)-1].Over {
			t.Errorf("the end of the trouble was not said")
		}
		acked := len(s.acked)
		if acked < 6 {
			t.Errorf("only takes %v were kept, 6 fitted into memory", s.acked)
		}
		s.measure(2)
		if len(s.acked) != acked+2 {
			t.Errorf("takes do not complete after the trouble: %v", s.acked)
		}
		if err := s.close(time.Minute); err != nil {
			t.Error(err)
		}
		f, err := loadFolder(s.disk, memDir, "")
		if err != nil {
			t.Fatal(err)
		}
		var got, last uint64
		for r, err := range f.Readings() {
			if err != nil || r.Seq <= last {
				t.Fatal(r.Seq, last, err)
			}
			got, last = got+1, r.Seq
		}
		if got+lost != s.sent || got < kept {
			t.Errorf("%d readings there and %d said to be lost, of %d sent", got, lost, s.sent)
		}
		said := uint64(0)
		for _, e := range f.Events {
			var a, b, n uint64
			if k, _ := fmt.Sscanf(e.Text, "readings %d to %d were lost (%d)", &a, &b, &n); k == 3 && e.Kind == ledger.EvDisk {
				said += n
			}
		}
		if said != lost {
			t.Errorf("events tell of %d lost readings, %d were", said, lost)
		}
		if len(f.Takes) != len(s.acked) || len(s.acked)+len(s.refused) != len(s.takes) {
			t.Errorf("%d takes in the log, %d acknowledged, %d refused, %d sent", len(f.Takes), len(s.acked), len(s.refused), len(s.takes))
		}
		s.holds(s.disk)
	})
}

// A failed sync is final for its part: a second sync would succeed and save
// nothing, which this disk does.
func TestAFailedSyncGoesOnInTheNextPart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &session{t: t, disk: newMemFS()}
		o := s.options()
		o.Part = 0
		var err error
		if s.j, _, err = Open(o); err != nil {
			t.Fatal(err)
		}
		s.measure(1)
		failed := false
		s.disk.fail(func(n int, op, name string) (int, error) {
			if op == "sync" && strings.HasSuffix(name, "takes.csv") && !failed {
				failed = true
				return 0, syscall.EIO
			}
			return 0, nil
		})
		s.measure(1)
		s.wait(time.Minute)
		s.measure(1)
		if err := s.close(time.Minute); err != nil {
			t.Error(err)
		}
		texts := s.disk.texts(memDir)
		if n := strings.Count(texts["takes.2.csv"], "\n"); n != 3 {
			t.Errorf("takes.2.csv has %d lines, expected the header and takes 2 and 3:\n%s", n, texts["takes.2.csv"])
		}
		found := s.disk.powerCut(keptWays["nothing"])
		s.check(found, true)
		s.holds(found)
	})
}

// A folder that is removed under the journal is noticed before the next
// receipt, and what comes after stands in a new one.
func TestAFolderRemovedUnderTheJournal(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &session{t: t, disk: newMemFS()}
		if err := s.open(); err != nil {
			t.Fatal(err)
		}
		s.measure(2)
		s.wait(5 * time.Second)
		s.disk.mu.Lock()
		for name := range s.disk.names {
			if name == memDir || strings.HasPrefix(name, memDir+"/") {
				delete(s.disk.names, name)
				delete(s.disk.durable, name)
				delete(s.disk.locks, memDir+"/"+lockName)
			}
		}
		s.disk.mu.Unlock()
		s.measure(1)
		if len(s.acked) != 2 {
			t.Errorf("takes %v acknowledged into a folder that is gone", s.acked)
		}
		if len(s.troubles) == 0 || !errors.Is(s.troubles[0].Err, errGone) {
			t.Errorf("trouble: %+v", s.troubles)
		}
		s.wait(time.Minute)
		if !slices.Equal(s.acked, []uint64{1, 2, 3}) {
			t.Errorf("takes %v acknowledged", s.acked)
		}
		if err := s.close(time.Minute); err != nil {
			t.Error(err)
		}
		texts := s.disk.texts(memDir)
		if !strings.Contains(texts["takes.2.csv"], "\n3,") || texts["job.toml"] == "" {
			t.Errorf("the new folder holds %v", texts)
		}
		if r, err := s.disk.verify(memDir); err != nil || r.Holds {
			t.Errorf("verify does not see that the folder's beginning is gone: %v", err)
		}
	})
}
