//go:build unix

package journal

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"thouwright/internal/ledger"
)

func TestJobNumbersThatNameNoFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "logs")
	for _, number := range []string{"", "..", ".", "../x", "a/b", `a\b`, "/etc", ".hidden", "-rf", "a b", "a\x00b", "ä", strings.Repeat("x", 65), strings.Repeat("../", 100)} {
		_, _, err := Open(Options{Dir: dir, Number: number})
		if err == nil || !strings.Contains(err.Error(), "job number") || !strings.Contains(err.Error(), "expected") {
			t.Errorf("%.20q: %v", number, err)
		}
		if err != nil && len(err.Error()) > 300 {
			t.Errorf("%.20q: the message is %d bytes long", number, len(err.Error()))
		}
	}
	if _, err := os.Lstat(dir); !os.IsNotExist(err) {
		t.Errorf("a refused number left something behind: %v", err)
	}
	for _, number := range []string{"7", "2026-041", "a..b", strings.Repeat("x", 64)} {
		j, _ := mustOpen(t, Options{Dir: dir, Number: number})
		if err := j.Close(t.Context(), stamp(0)); err != nil {
			t.Error(err)
		}
		mustHold(t, filepath.Join(dir, number))
	}
}

func TestASecondJournalIsToldWhoHoldsTheFolder(t *testing.T) {
	dir := t.TempDir()
	j, _ := mustOpen(t, Options{Dir: dir, Number: "7", Holder: "process 4711 (thouwright run)"})
	_, _, err := Open(Options{Dir: dir, Number: "7"})
	if err == nil || !strings.Contains(err.Error(), "in use by process 4711 (thouwright run)") {
		t.Errorf("the second journal: %v", err)
	}
	if err := j.Close(t.Context(), stamp(0)); err != nil {
		t.Fatal(err)
	}
	j, _ = mustOpen(t, Options{Dir: dir, Number: "7"})
	if err := j.Close(t.Context(), stamp(0)); err != nil {
		t.Fatal(err)
	}
}

// A link, pipe or folder where a file of the log belongs is refused by name,
// and nothing outside the folder is touched.
func TestLinksInTheFolderAreRefused(t *testing.T) {
	for _, name := range []string{"readings.csv", "takes.csv", "events.csv", lockName, "job.toml", "job.toml.tmp", "drivers", "tapes"} {
		for _, kind := range []string{"link", "dangling link", "pipe"} {
			if name == "job.toml.tmp" && kind == "pipe" {
				continue // removed and written anew: nothing to refuse
			}
			root := t.TempDir()
			dir, outside := filepath.Join(root, "logs"), filepath.Join(root, "outside")
			if err := os.MkdirAll(filepath.Join(dir, "7"), 0o755); err != nil {
				t.Fatal(err)
			}
			write(t, outside, []byte("precious"))
			place := filepath.Join(dir, "7", name)
			var err error
			switch kind {
			case "link":
				err = os.Symlink(outside, place)
			case "dangling link":
				err = os.Symlink(filepath.Join(root, "not there"), place)
			case "pipe":
				err = unix.Mkfifo(place, 0o644)
			}
			if err != nil {
				t.Fatal(err)
			}
			said := make(chan string, 100)
			j, _, err := Open(Options{Dir: dir, Number: "7", Receipt: func(r Receipt) {
				if r.Trouble != nil {
					said <- r.Trouble.Text
				}
			}})
			if err == nil {
				j.Sheet(stamp(0), sheets)
				tape, _ := j.Tape("dial-1.tape")
				_, _ = tape.Write([]byte("x"))
				ctx, cancel := contextFor(t, 300*time.Millisecond)
				err = j.Close(ctx, stamp(0))
				cancel()
				if tape.Err() != nil {
					err = tape.Err()
				}
			}
			refused := err != nil && (strings.Contains(err.Error(), "symbolic link") || strings.Contains(err.Error(), "no regular file") || strings.Contains(err.Error(), "no folder") || strings.Contains(err.Error(), "exists") || strings.Contains(err.Error(), "not a directory"))
			if !refused && name != "job.toml.tmp" {
				t.Errorf("%s as a %s: %v", name, kind, err)
			}
			if b, err := os.ReadFile(outside); err != nil || string(b) != "precious" {
				t.Errorf("%s as a %s: the file outside holds %q, %v", name, kind, b, err)
			}
			if _, err := os.Lstat(filepath.Join(root, "not there")); err == nil {
				t.Errorf("%s as a %s: a file was made outside", name, kind)
			}
		}
	}
	root := t.TempDir()
	if err := os.Symlink(t.TempDir(), filepath.Join(root, "7")); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Open(Options{Dir: root, Number: "7"}); err == nil || !strings.Contains(err.Error(), "symbolic link") {
		t.Errorf("the job's folder as a link: %v", err)
	}
}

// smallDisk mounts a file system in memory of so many bytes; where that is not
// allowed, the limit is kept by a layer above the real files.
func smallDisk(t *testing.T, size int64) (dir string, fsys FS) {
	dir = t.TempDir()
	if err := mountSmall(dir, size); err != nil {
		t.Logf("no mount here (%v): the limit is kept above the files", err)
		return dir, &quotaFS{left: size}
	}
	t.Cleanup(func() {
		if err := unmount(dir); err != nil {
			t.Error(err)
		}
	})
	return dir, nil
}

// quotaFS is the real file layer with a limit on the bytes written.
type quotaFS struct {
	osFS
	mu   sync.Mutex
	left int64
}

type quotaFile struct {
	File
	q *quotaFS
}

func (q *quotaFS) Open(name string, flag int) (File, error) {
	f, err := q.osFS.Open(name, flag)
	if err != nil {
		return nil, err
	}
	return quotaFile{f, q}, nil
}

func (f quotaFile) Write(b []byte) (int, error) {
	f.q.mu.Lock()
	defer f.q.mu.Unlock()
	n := min(int64(len(b)), max(f.q.left, 0))
	m, err := f.File.Write(b[:n])
	f.q.left -= int64(m)
	if err == nil && m < len(b) {
		err = syscall.EDQUOT
	}
	return m, err
}

// A real disk runs full under load, and gets room again.
func TestARealFullDisk(t *testing.T) {
	dir, fsys := smallDisk(t, 1<<20)
	filler := filepath.Join(dir, "filler")
	if q, ok := fsys.(*quotaFS); ok {
		q.left -= 700 << 10
	} else {
		write(t, filler, make([]byte, 700<<10))
	}
	in := &inbox{}
	troubles := make(chan Trouble, 1000)
	in.check = func(r Receipt) {
		if r.Trouble != nil {
			troubles <- *r.Trouble
		}
	}
	j, _ := mustOpen(t, Options{Dir: dir, Number: "7", FS: fsys, Receipt: in.put})
	j.Event(ledger.Event{Kind: ledger.EvStart, At: stamp(0)})
	seq, n := uint64(0), uint64(0)
	measure := func() {
		for range 10 {
			j.Readings(batch(seq, 20))
			seq += 20
		}
		n++
		j.Take(take(n, seq-199, seq))
		time.Sleep(5 * time.Millisecond)
	}
	for len(troubles) == 0 && n < 1000 {
		measure()
	}
	first := <-troubles
	if !strings.Contains(first.Text, "held in memory") {
		t.Errorf("trouble: %+v", first)
	}
	acked := len(in.takes())
	for range 20 {
		measure()
	}
	time.Sleep(time.Second)
	if got := len(in.takes()); got != acked {
		t.Errorf("%d takes were acknowledged on a full disk", got-acked)
	}
	if q, ok := fsys.(*quotaFS); ok {
		q.mu.Lock()
		q.left += 700 << 10
		q.mu.Unlock()
	} else if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	deadline := time.After(20 * time.Second)
	for over := false; !over; {
		select {
		case x := <-troubles:
			over = x.Over
		case <-deadline:
			t.Fatal("there is room and the rows are not written")
		}
	}
	measure()
	if err := j.Close(t.Context(), stamp(seq)); err != nil {
		t.Fatal(err)
	}
	if got := len(in.takes()); uint64(got) != n {
		t.Errorf("%d of %d takes acknowledged", got, n)
	}
	f, err := Load(j.Dir())
	if err != nil {
		t.Fatal(err)
	}
	last := uint64(0)
	for r, err := range f.Readings() {
		if err != nil || r.Seq != last+1 {
			t.Fatalf("reading %d follows %d, %v", r.Seq, last, err)
		}
		last = r.Seq
	}
	if last != seq || uint64(len(f.Takes)) != n {
		t.Errorf("%d of %d readings, %d of %d takes", last, seq, len(f.Takes), n)
	}
	mustHold(t, j.Dir())
}

// readOnlyFS is the real file layer on a disk that takes nothing.
type readOnlyFS struct{ osFS }

func (readOnlyFS) MkdirAll(dir string) error {
	if info, err := os.Stat(dir); err == nil && info.IsDir() {
		return nil
	}
	return &os.PathError{Op: "mkdir", Path: dir, Err: syscall.EROFS}
}

func (r readOnlyFS) Open(name string, flag int) (File, error) {
	if flag&(os.O_WRONLY|os.O_RDWR) != 0 {
		return nil, &os.PathError{Op: "open", Path: name, Err: syscall.EROFS}
	}
	return r.osFS.Open(name, flag)
}

func (readOnlyFS) Lock(name, _ string) (io.Closer, error) {
	return nil, &os.PathError{Op: "open", Path: name, Err: syscall.EROFS}
}

func TestAReadOnlyFolder(t *testing.T) {
	dir, fsys := smallDisk(t, 1<<20)
	j, _ := mustOpen(t, Options{Dir: dir, Number: "7"})
	if err := j.Close(t.Context(), stamp(0)); err != nil {
		t.Fatal(err)
	}
	if fsys == nil {
		if err := remountReadOnly(dir); err != nil {
			t.Fatal(err)
		}
	} else {
		fsys = readOnlyFS{} // permissions would not hold back root
	}
	for _, number := range []string{"7", "8"} {
		_, _, err := Open(Options{Dir: dir, Number: number, FS: fsys})
		if err == nil || strings.Count(err.Error(), "\n") > 0 || !strings.Contains(err.Error(), dir) {
			t.Errorf("job %s: %v", number, err)
		}
	}
}

// The real folder is removed under the journal: noticed before the next
// receipt, and what comes goes to a new one.
func TestARealFolderRemoved(t *testing.T) {
	dir := t.TempDir()
	in := &inbox{}
	troubles := make(chan Trouble, 1000)
	in.check = func(r Receipt) {
		if r.Trouble != nil {
			troubles <- *r.Trouble
		}
	}
	j, _ := mustOpen(t, Options{Dir: dir, Number: "7", Receipt: in.put})
	job(j, 0, 2)
	for len(in.takes()) < 2 {
		time.Sleep(time.Millisecond)
	}
	if err := os.RemoveAll(j.Dir()); err != nil {
		t.Fatal(err)
	}
	j.Readings(batch(20, 10))
	j.Take(take(3, 21, 30))
	if x := <-troubles; !strings.Contains(x.Text, "moved or removed") {
		t.Errorf("trouble: %+v", x)
	}
	for over := false; !over; {
		over = (<-troubles).Over
	}
	if err := j.Close(t.Context(), stamp(30)); err != nil {
		t.Fatal(err)
	}
	f, err := Load(j.Dir())
	if err != nil || len(f.Takes) != 1 || f.Takes[0].Take != 3 || string(f.Job(0)) != string(sheets.Job) {
		t.Errorf("the new folder: %v, %+v", err, f)
	}
	if r, err := Verify(j.Dir()); err != nil || r.Holds {
		t.Errorf("verify does not see the hole: %v", err)
	}
}

func TestTapesAreSummed(t *testing.T) {
	dir := t.TempDir()
	j, _ := mustOpen(t, Options{Dir: dir, Number: "7"})
	a, err := j.Tape("dial-1.tape")
	if err != nil {
		t.Fatal(err)
	}
	b, _ := j.Tape("Meßuhr 2.tape")
	if _, err := j.Tape("../x"); err == nil {
		t.Error("a path was taken for a tape's name")
	}
	job(j, 0, 2)
	want := ""
	for i := range 1000 {
		line := fmt.Sprintf("%d\t2b30\n", i)
		want += line
		for _, x := range []*Tape{a, b} {
			if n, err := x.Write([]byte(line)); n != len(line) || err != nil {
				t.Fatal(n, err)
			}
		}
	}
	if err := j.Close(t.Context(), stamp(40)); err != nil {
		t.Fatal(err)
	}
	if _, err := a.Write([]byte("x")); err == nil {
		t.Error("a tape goes on behind its journal")
	}
	r := mustHold(t, j.Dir())
	found := 0
	for _, name := range []string{"dial-1.tape", "Meßuhr 2.tape"} {
		path := filepath.Join(j.Dir(), "tapes", name)
		if got, err := os.ReadFile(path); err != nil || string(got) != want {
			t.Errorf("%s: %d bytes, %v", name, len(got), err)
		}
		for _, x := range r.Files {
			if x.Name == "tapes/"+name && strings.Contains(x.Text, "sum") {
				found++
			}
		}
		write(t, path, []byte(strings.Replace(want, "2b", "2d", 1)))
		if r, err := Verify(j.Dir()); err != nil || r.Holds {
			t.Errorf("a changed byte in %s was not found", name)
		}
		os.Remove(path)
		if r, err := Verify(j.Dir()); err != nil || r.Holds {
			t.Errorf("%s was removed and verify holds", name)
		}
		write(t, path, []byte(want))
	}
	if found != 2 {
		t.Errorf("verify speaks of %d tapes, expected 2", found)
	}
	// A file of that name is never overwritten: the tape ends at once.
	j, _ = mustOpen(t, Options{Dir: dir, Number: "7"})
	c, _ := j.Tape("dial-1.tape")
	j.Event(ledger.Event{Seq: 20, At: stamp(41), Kind: ledger.EvStart})
	if err := j.Close(t.Context(), stamp(41)); err != nil || c.Err() == nil {
		t.Errorf("%v, %v", err, c.Err())
	}
	mustHold(t, j.Dir())
}
