//go:build !windows

package bench

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// A picture that the sheet's notes name, put into the job's folder by hand, has
// its sum stated once, whether it lies there at the start or comes with an edit,
// so that verify finds it changed.
func TestPicturesOfTheSheetAreProved(t *testing.T) {
	dial := newDial(t)
	const note = "[[note]]\ntext = \"worn\"\nphoto = \"photos/%\"\n"
	sheet := rigJob + strings.Replace(note, "%", "seat.jpg", 1) + strings.Replace(note, "%", "nowhere.jpg", 1)
	r := &rig{t: t, dir: t.TempDir()}
	r.write("bench.toml", fmt.Sprintf(rigBench, dial.port))
	r.write("jobs/R-1.toml", sheet)
	r.write("logs/R-1/photos/seat.jpg", "a picture")
	r.start(true)
	stated := func() string {
		f, err := journal.Load(filepath.Join(r.dir, "logs", "R-1"))
		if err != nil {
			t.Fatal(err)
		}
		var all []string
		for _, e := range f.Events {
			if name, sum := ledger.NotePhoto(e.Text); e.Kind == ledger.EvNote && len(sum) == 64 {
				all = append(all, name)
			}
		}
		return strings.Join(all, " ")
	}
	until := func(want string) {
		t.Helper()
		for end := time.Now().Add(30 * time.Second); stated() != want; time.Sleep(10 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("stated: %q, want %q", stated(), want)
			}
		}
	}
	until("photos/seat.jpg")
	r.write("logs/R-1/photos/lip.jpg", "another")
	r.write("jobs/R-1.toml", sheet+strings.Replace(note, "%", "lip.jpg", 1))
	until("photos/seat.jpg photos/lip.jpg")
	r.stop()
	_, stop := r.resumed()
	stop()
	until("photos/seat.jpg photos/lip.jpg")

	dir := filepath.Join(r.dir, "logs", "R-1")
	report, err := Verify(dir)
	if err != nil || !report.Holds {
		t.Fatalf("%v %+v", err, report)
	}
	if err := os.WriteFile(filepath.Join(dir, "photos", "lip.jpg"), []byte("anothen"), 0o644); err != nil {
		t.Fatal(err)
	}
	report, err = Verify(dir)
	if err != nil || report.Holds {
		t.Errorf("a changed picture is not found: %v %+v", err, report)
	}
}
