//go:build !windows

package bench

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
	"unicode/utf8"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

const malformedDriver = `
about = "one reading a line"
pattern = "{value}"
`

// spoilers are the ways in which a file stops being one of ours. put leaves the
// file at its place in that state; the place is free when it is called.
func spoilers() map[string]func(file, good string) error {
	rep := strings.Repeat
	all := map[string]func(file, good string) error{
		"a folder":                  func(file, _ string) error { return os.Mkdir(file, 0o755) },
		"a pipe":                    func(file, _ string) error { return syscall.Mkfifo(file, 0o644) },
		"a link to itself":          func(file, _ string) error { return os.Symlink(file, file) },
		"a link to what has no end": func(file, _ string) error { return os.Symlink("/dev/zero", file) },
		"a link to nothing":         func(file, _ string) error { return os.Symlink(file+".none", file) },
		"a socket's name": func(file, _ string) error {
			fd, err := syscall.Socket(syscall.AF_UNIX, syscall.SOCK_STREAM, 0)
			if err != nil {
				return err
			}
			defer syscall.Close(fd)
			if err := os.Chdir(filepath.Dir(file)); err != nil { // such names are short
				return err
			}
			return syscall.Bind(fd, &syscall.SockaddrUnix{Name: filepath.Base(file)})
		},
	}
	for name, change := range map[string]func(good string) string{
		"nothing in it":        func(string) string { return "" },
		"only zeros":           func(good string) string { return rep("\x00", len(good)) },
		"zeros behind":         func(good string) string { return good + rep("\x00", 4096) },
		"half of it":           func(good string) string { return good[:len(good)/2+3] },
		"two bytes a letter":   func(good string) string { return "\xff\xfe" + strings.Join(strings.Split(good, ""), "\x00") },
		"no text":              func(good string) string { return good + "\n# \xff\xfe\xc3\x28" },
		"a program":            func(string) string { return "\x7fELF" + rep("\x90\x01", 5000) },
		"another kind of file": func(string) string { return "<?xml version='1.0'?><bench/>" },
		"a list in braces":     func(string) string { return `{"number": "R-1"}` },
		"twice":                func(good string) string { return good + good },
		"an open quote":        func(good string) string { return strings.Replace(good, `"`, "", 1) },
		"an open table":        func(good string) string { return good + "\n[[" },
		"a bomb of brackets":   func(good string) string { return good + "\nx = " + rep("[", 200_000) },
		"a bomb of tables":     func(good string) string { return good + "\n" + rep("[[x]]\n", 100_000) },
		"a bomb of dots":       func(good string) string { return good + "\n" + rep("a.", 200_000) + "b = 1" },
		"two million bytes":    func(good string) string { return good + rep("# a comment\n", 180_000) },
		"an unknown key":       func(good string) string { return "naem = 1\n" + good },
		"numbers for words":    func(good string) string { return strings.ReplaceAll(good, `"`, "") },
		"words of another kind": func(good string) string {
			return strings.NewReplacer(`"play"`, "1979-05-27", `"dial-1"`, "inf", `"{value}"`, "nan").Replace(good)
		},
	} {
		all[name] = func(file, good string) error { return os.WriteFile(file, []byte(change(good)), 0o644) }
	}
	return all
}

// Whatever becomes of its files while it runs, the daemon goes on with the
// version before and says in one line what is wrong; readings go on, nothing is
// lost, and the mended file is taken.
func TestMalformedFilesUnderTheDaemon(t *testing.T) {
	here, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	defer os.Chdir(here)
	d := newDial(t)
	r := &rig{t: t, dir: t.TempDir()}
	good := map[string]string{
		"bench.toml":        strings.Replace(fmt.Sprintf(rigBench, d.port), "job_dir", "driver_dir = \"drivers\"\njob_dir", 1),
		"jobs/R-1.toml":     rigJob,
		"drivers/mine.toml": malformedDriver,
	}
	good["bench.toml"] = strings.Replace(good["bench.toml"], `"signed-decimal"`, `"mine"`, 1)
	for name, text := range good {
		r.write(name, text)
	}
	r.start(false)
	stop, stopped := make(chan struct{}), make(chan struct{})
	go r.keepSending(d, stop, stopped)
	r.until("up", gaugeIs("up"))
	for name, text := range good {
		file := filepath.Join(r.dir, name)
		for kind, spoil := range spoilers() {
			if err := os.Remove(file); err != nil {
				t.Fatal(err)
			}
			if err := spoil(file, text); err != nil {
				t.Fatalf("%s: %s: %v", name, kind, err)
			}
			r.d.reload() // the watcher's work, now
			var told ledger.Problem
			s := r.until(name+" became "+kind+" and nothing was said", func(l ledger.Live) bool {
				for _, p := range l.Problems {
					if !p.Warning || name == "drivers/mine.toml" { // a broken driver takes down nothing but itself
						told = p
						return true
					}
				}
				return false
			})
			if text := told.String(); strings.ContainsAny(text, "\n\x00") || !utf8.ValidString(text) || len(text) > 600 {
				t.Errorf("%s became %s: told in %d bytes: %.200q", name, kind, len(text), text)
			}
			if s.Active == nil || s.Active.High != "0.15" || s.Job.Number != "R-1" {
				t.Errorf("%s became %s: the version before does not go on: %+v", name, kind, s.Active)
			}
			if err := os.RemoveAll(file); err != nil {
				t.Fatal(err)
			}
			r.write(name, text)
			r.d.reload()
			r.until(name+" is mended after "+kind, func(l ledger.Live) bool { return len(l.Problems) == 0 })
		}
	}
	if s := r.d.hub.State(); !gaugeIs("up")(s) {
		t.Errorf("the gauge is %+v", s.Gauges)
	}
	close(stop)
	<-stopped
	time.Sleep(100 * time.Millisecond)
	seq := r.d.taken.Load()
	r.stop()
	var last uint64
	f := must(journal.Load(r.d.JobDir()))
	for x, err := range f.Readings() {
		if err != nil || x.Seq != last+1 {
			t.Fatalf("reading %d follows %d, %v", x.Seq, last, err)
		}
		last = x.Seq
	}
	if last != seq {
		t.Errorf("%d of %d readings are on the disk", last, seq)
	}
}
