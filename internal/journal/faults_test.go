package journal

import (
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"
)

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
