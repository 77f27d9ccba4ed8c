package journal

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// A reading that comes after a pause is in its file before any time has passed; the
// next ones wait for one another, so that a fast gauge costs no write a reading.
func TestAReadingAfterAPauseIsInItsFileAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &session{t: t, disk: newMemFS()}
		o := s.options()
		o.Part = 0
		var err error
		if s.j, _, err = Open(o); err != nil {
			t.Fatal(err)
		}
		s.measure(1)
		s.wait(time.Second)
		rows := func() uint64 { return uint64(strings.Count(s.disk.texts(memDir)["readings.csv"], "\n")) - 1 }
		send := func() { s.j.Readings(batch(s.sent, 1)); s.sent++; s.wait(0) }
		for range 3 {
			if send(); rows() != s.sent {
				t.Errorf("%d of %d readings are in the file", rows(), s.sent)
			}
			for range 4 {
				time.Sleep(flushEvery / 5)
				if send(); rows() == s.sent {
					t.Errorf("reading %d was written by itself", s.sent)
				}
			}
			if s.wait(flushEvery); rows() != s.sent {
				t.Errorf("%d of %d readings are in the file %v later", rows(), s.sent, flushEvery)
			}
			s.wait(flushEvery)
		}
		if err := s.close(time.Minute); err != nil {
			t.Error(err)
		}
		s.check(s.disk, true)
	})
}
