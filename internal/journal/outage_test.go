package journal

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"thouwright/internal/ledger"
)

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
