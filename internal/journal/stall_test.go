package journal

import (
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"thouwright/internal/ledger"
)

// slowFS is a disk whose syncs take as long as it is told.
type slowFS struct {
	*memFS
	wait atomic.Int64
}

type slowFile struct {
	File
	fs *slowFS
}

func (s *slowFS) Open(name string, flag int) (File, error) {
	f, err := s.memFS.Open(name, flag)
	if err != nil {
		return nil, err
	}
	return slowFile{f, s}, nil
}

func (f slowFile) Sync() error {
	time.Sleep(time.Duration(f.fs.wait.Load()))
	return f.File.Sync()
}

// A disk that neither writes nor fails is trouble after five seconds, not
// silence; capture is never held back by it.
func TestADiskThatDoesNotAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &session{t: t, disk: newMemFS()}
		slow := &slowFS{memFS: s.disk}
		o := s.options()
		o.FS = slow
		var err error
		if s.j, _, err = Open(o); err != nil {
			t.Fatal(err)
		}
		s.measure(1)
		s.wait(5 * time.Second)
		slow.wait.Store(int64(20 * time.Second))
		before := time.Now()
		s.measure(1)
		if d := time.Since(before); d > time.Second {
			t.Errorf("measuring took %v: capture waited for the disk", d)
		}
		s.wait(10 * time.Second)
		if n := len(s.troubles); n != 1 || !errors.Is(s.troubles[0].Err, errStalled) || len(s.acked) != 1 {
			t.Errorf("after ten seconds: trouble %+v, takes %v", s.troubles, s.acked)
		}
		slow.wait.Store(0)
		s.wait(time.Minute)
		if n := len(s.troubles); n == 0 || !s.troubles[n-1].Over || len(s.acked) != 2 {
			t.Errorf("afterwards: trouble %+v, takes %v", s.troubles, s.acked)
		}
		if err := s.close(time.Minute); err != nil {
			t.Error(err)
		}
		s.check(s.disk, true)
		s.holds(s.disk)
	})
}

// Whatever the wall clock does, rows keep their order and their elapsed times,
// and the folder verifies.
func TestTheWallClockIsSteppedAbout(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &session{t: t, disk: newMemFS()}
		if err := s.open(); err != nil {
			t.Fatal(err)
		}
		var watch ledger.ClockWatch
		seq := uint64(0)
		told := 0
		// Woke in 1970, set, an hour back, a day on, before 1970, past 9999.
		for _, wall := range []int64{1e6, start, start - 3600e6, start + 86400e6, -5e15, 400e15} {
			for range 10 {
				seq++
				b := batch(seq-1, 1)
				b[0].At = ledger.Stamp{Wall: wall + int64(seq)*100_000, Elapsed: int64(seq) * 100_000}
				if text := watch.See(b[0].At); text != "" {
					told++
					s.j.Event(ledger.Event{Seq: seq - 1, At: b[0].At, Kind: ledger.EvClock, Text: text})
				}
				s.j.Readings(b)
			}
		}
		s.sent = seq
		if err := s.close(time.Minute); err != nil {
			t.Error(err)
		}
		if told != 6 {
			t.Errorf("%d steps were told, expected 6", told)
		}
		f, err := loadFolder(s.disk, memDir, "")
		if err != nil {
			t.Fatal(err)
		}
		n := uint64(0)
		for r, err := range f.Readings() {
			n++
			if err != nil || r.Seq != n || r.At.Elapsed != int64(n)*100_000 {
				t.Fatalf("reading %d: %+v, %v", n, r, err)
			}
		}
		clock := 0
		for _, e := range f.Events {
			if e.Kind == ledger.EvClock && strings.Contains(e.Text, "wall clock") {
				clock++
			}
		}
		if n != seq || clock != told {
			t.Errorf("%d readings and %d clock events, expected %d and %d", n, clock, seq, told)
		}
		s.holds(s.disk)
	})
}

// Events are bounded, too: what finds no room is counted and said.
func TestEventsAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &session{t: t, disk: newMemFS()}
		o := s.options()
		o.Limit, o.Part = 100*readingCost, 0
		var err error
		if s.j, _, err = Open(o); err != nil {
			t.Fatal(err)
		}
		s.measure(1)
		s.disk.mu.Lock()
		s.disk.room = 0
		s.disk.mu.Unlock()
		for i := range 5000 {
			s.j.Event(ledger.Event{Seq: s.sent, At: stamp(s.sent), Kind: ledger.EvGaugeLost, Gauge: "dial-1", Text: strings.Repeat("x", i%50)})
			time.Sleep(10 * time.Millisecond)
		}
		synctest.Wait()
		if held := s.j.queued + s.j.held.Load(); held > 2*o.Limit {
			t.Errorf("%d bytes are held, the bound is %d", held, o.Limit)
		}
		s.disk.mu.Lock()
		s.disk.room = -1
		s.disk.mu.Unlock()
		s.wait(time.Minute)
		if err := s.close(time.Minute); err != nil {
			t.Error(err)
		}
		f, err := loadFolder(s.disk, memDir, "")
		if err != nil {
			t.Fatal(err)
		}
		kept, said := 0, 0
		for _, e := range f.Events {
			if e.Kind == ledger.EvGaugeLost {
				kept++
			}
			if n, ok := strings.CutSuffix(e.Text, " events were lost: there was no room in memory while the disk could not be written"); ok {
				for _, c := range n {
					said = said*10 + int(c-'0')
				}
			}
		}
		if kept+said != 5000 || kept == 0 || said == 0 {
			t.Errorf("%d events kept, %d said to be lost, of 5000", kept, said)
		}
		s.holds(s.disk)
	})
}
