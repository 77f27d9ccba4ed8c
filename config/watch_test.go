package config

import (
	"context"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// watching runs a watcher on paths and returns a function that waits for a
// file to be told, and one that asserts that nothing is.
func watching(t *testing.T, paths ...string) (told func(string), quiet func(time.Duration)) {
	t.Helper()
	return watchingList(t, func() []string { return paths })
}

func watchingList(t *testing.T, paths func() []string) (told func(string), quiet func(time.Duration)) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ch := make(chan string, 100)
	w := NewWatcher(paths)
	done := make(chan struct{})
	go func() { defer close(done); w.Run(ctx, func(p string) { ch <- p }) }()
	t.Cleanup(func() { cancel(); <-done; goleak.VerifyNone(t) })
	told = func(want string) {
		t.Helper()
		select {
		case got := <-ch:
			if got != want {
				t.Fatalf("told %s, want %s", got, want)
			}
		case <-time.After(20 * time.Second):
			t.Fatalf("never told of %s", want)
		}
	}
	quiet = func(d time.Duration) {
		t.Helper()
		select {
		case got := <-ch:
			t.Fatalf("told of %s, which did not change", got)
		case <-time.After(d):
		}
	}
	return told, quiet
}

func put(t *testing.T, file, text string) {
	t.Helper()
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// swap replaces a file in one step: the watcher's first look cannot see it half
// written.
func swap(t *testing.T, file, text string) {
	t.Helper()
	tmp := filepath.Join(filepath.Dir(file), ".tmp")
	put(t, tmp, text)
	if err := os.Rename(tmp, file); err != nil {
		t.Fatal(err)
	}
}

// Editors write in place, write anew and rename, or move the old one away
// first; each is one change, told once.
func TestEveryWayOfSavingIsSeen(t *testing.T) {
	dir := t.TempDir()
	bench := filepath.Join(dir, "bench.toml")
	put(t, bench, "1")
	told, quiet := watching(t, bench)

	swap(t, bench, "2")
	told(bench)

	put(t, bench, "3")
	told(bench)

	if err := os.Rename(bench, bench+"~"); err != nil {
		t.Fatal(err)
	}
	put(t, bench, "4")
	told(bench)

	// Touched, or written with what it holds: no change.
	put(t, bench, "4")
	put(t, filepath.Join(dir, "other.toml"), "x")
	quiet(400 * time.Millisecond)

	// Gone for good is a change, back is one too.
	if err := os.Remove(bench); err != nil {
		t.Fatal(err)
	}
	told(bench)
	put(t, bench, "4")
	told(bench)
}

// A sheet that appears in, changes in or leaves the job folder is told, even
// where the folder itself was not there at first.
func TestFolderOfSheetsIsWatched(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "deep", "jobs")
	told, quiet := watching(t, dir)
	quiet(100 * time.Millisecond)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	sheet := filepath.Join(dir, "1.toml")
	put(t, sheet, "1")
	told(sheet)
	put(t, sheet, "2")
	told(sheet)
	put(t, filepath.Join(dir, "1.toml.swp"), "x")
	put(t, filepath.Join(dir, ".hidden.toml"), "x")
	quiet(400 * time.Millisecond)
	if err := os.Remove(sheet); err != nil {
		t.Fatal(err)
	}
	told(sheet)
}

// Of another folder that is listed later every sheet is told once: it may have
// been written after the folder was looked at. So is the first sheet that is
// put into a folder which an edit named and which was not there yet.
func TestFolderListedLater(t *testing.T) {
	dir, other := t.TempDir(), t.TempDir()
	bench := filepath.Join(dir, "bench.toml")
	put(t, bench, "1")
	old := filepath.Join(other, "old.toml")
	put(t, old, "1")
	var listed atomic.Value
	listed.Store([]string{bench})
	told, quiet := watchingList(t, func() []string { return listed.Load().([]string) })
	quiet(100 * time.Millisecond) // its first look would list the other folder, too
	listed.Store([]string{bench, other})
	swap(t, bench, "2") // names it
	told(bench)
	told(old)
	quiet(400 * time.Millisecond)
	put(t, old, "2")
	told(old)

	fresh := filepath.Join(dir, "new", "jobs")
	listed.Store([]string{bench, fresh})
	swap(t, bench, "3")
	if err := os.MkdirAll(fresh, 0o755); err != nil {
		t.Fatal(err)
	}
	sheet := filepath.Join(fresh, "1.toml")
	put(t, sheet, "1")
	told(bench)
	told(sheet)
	quiet(400 * time.Millisecond)
}

// A change between loading and watching is not lost.
func TestChangeBeforeRunIsTold(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bench.toml")
	put(t, file, "1")
	w := NewWatcher(func() []string { return []string{file} })
	put(t, file, "2")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	ch := make(chan string, 1)
	go w.Run(ctx, func(p string) { ch <- p; cancel() })
	select {
	case <-ch:
	case <-time.After(10 * time.Second):
		t.Fatal("lost")
	}
}
