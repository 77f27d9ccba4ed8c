package config

import (
	"context"
	"crypto/sha256"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/fsnotify/fsnotify"

	"thouwright/internal/form"
)

// The watcher's times.
const (
	watchSettle = 120 * time.Millisecond // an editor's write, rename and chmod are one change
	watchMost   = time.Second            // but one that never ends is looked at anyway
	watchGone   = time.Second            // a file away for less is being replaced
	watchPoll   = 3 * time.Second        // file systems that report nothing
	watchAgain  = 300 * time.Millisecond // after a change: what it lists is followed from then on
)

// Watcher tells when files change. It watches their folders, because editors
// replace files; it compares contents, because a touched file is not a change.
type Watcher struct {
	paths func() []string
	seen  map[string]fileState
	gone  map[string]time.Time
}

type fileState struct {
	there bool
	sum   [sha256.Size]byte
	info  os.FileInfo // when it was read; spares reading it again at each poll
}

func (s fileState) same(t fileState) bool { return s.there == t.there && s.sum == t.sum }

// NewWatcher watches the files that paths lists, and of the folders it lists
// every .toml file. paths is asked again at each change. What the files hold
// now is what changes are told against, so make the watcher before loading.
func NewWatcher(paths func() []string) *Watcher {
	w := &Watcher{paths: paths, seen: map[string]fileState{}, gone: map[string]time.Time{}}
	for _, f := range expand(paths()) {
		w.seen[f] = stateOf(f, fileState{})
	}
	return w
}

// Watch is NewWatcher and Run in one.
func Watch(ctx context.Context, paths func() []string, changed func(path string)) {
	NewWatcher(paths).Run(ctx, changed)
}

// Run calls changed, one call at a time, for every file whose content has
// changed, that has appeared, or that has been away for a second; until ctx
// ends. It keeps watching whatever a load says. The files of a path that is
// listed for the first time have appeared, too: whoever listed it cannot know
// whether they were written before or after it looked.
func (w *Watcher) Run(ctx context.Context, changed func(path string)) {
	fw, err := fsnotify.NewWatcher()
	var events chan fsnotify.Event
	var errs chan error
	if err == nil { // without it (no more watches allowed) the poll alone does
		defer fw.Close()
		events, errs = fw.Events, fw.Errors
	}
	watched := map[string]bool{}
	poll := time.NewTicker(watchPoll)
	defer poll.Stop()
	settle := time.NewTimer(0)
	defer settle.Stop()
	var first time.Time // of the events not yet looked at
	for {
		select {
		case <-ctx.Done():
			return
		case _, ok := <-events:
			if !ok {
				events = nil
				continue
			}
			now := time.Now()
			if first.IsZero() {
				first = now
			}
			settle.Reset(min(watchSettle, max(0, first.Add(watchMost).Sub(now))))
			continue
		case _, ok := <-errs: // the queue overflowed: look at everything
			if !ok {
				errs = nil
				continue
			}
		case <-poll.C:
		case <-settle.C:
		}
		first = time.Time{}
		if fw != nil {
			w.follow(fw, watched)
		}
		told := false
		wait := w.compare(func(path string) { told = true; changed(path) })
		if told && wait == 0 { // what was loaded may list other paths
			wait = watchAgain
		}
		if wait > 0 {
			settle.Reset(wait)
		}
	}
}

// follow watches the folders of all paths, and of a folder that is not there
// the nearest one above it that is.
func (w *Watcher) follow(fw *fsnotify.Watcher, watched map[string]bool) {
	want := map[string]bool{}
	for _, p := range w.paths() {
		if p == "" {
			continue
		}
		if st, err := os.Stat(p); err != nil || !st.IsDir() {
			p = filepath.Dir(p)
		}
		for p != filepath.Dir(p) {
			if st, err := os.Stat(p); err == nil && st.IsDir() {
				break
			}
			p = filepath.Dir(p)
		}
		want[p] = true
	}
	for p := range watched {
		if !want[p] {
			fw.Remove(p)
			delete(watched, p)
		}
	}
	for p := range want {
		// Adding again is free, and needed where a folder was made anew.
		if fw.Add(p) == nil {
			watched[p] = true
		}
	}
}

// compare tells what changed, and after which time to look again because a
// file is away.
func (w *Watcher) compare(changed func(string)) (wait time.Duration) {
	now := time.Now()
	known := map[string]bool{}
	paths := w.paths()
	for _, f := range expand(paths) {
		known[f] = true
		old, before := w.seen[f]
		st := stateOf(f, old)
		if !st.there && before && old.there {
			since, away := w.gone[f]
			if !away {
				w.gone[f], since = now, now
			}
			if left := watchGone - now.Sub(since); left > 0 {
				wait = left
				continue
			}
		}
		delete(w.gone, f)
		w.seen[f] = st
		if !st.same(old) {
			changed(f)
		}
	}
	for f, old := range w.seen {
		if known[f] {
			continue
		}
		// A file of a folder that is no longer in it, or a path no longer listed.
		if !old.there || !w.inFolder(f) {
			delete(w.seen, f)
			delete(w.gone, f)
			continue
		}
		since, away := w.gone[f]
		if !away {
			w.gone[f], since = now, now
		}
		if left := watchGone - now.Sub(since); left > 0 {
			wait = left
			continue
		}
		delete(w.seen, f)
		delete(w.gone, f)
		changed(f)
	}
	return wait
}

func (w *Watcher) inFolder(f string) bool {
	dir := filepath.Dir(f)
	for _, p := range w.paths() {
		if filepath.Clean(p) == dir {
			return true
		}
	}
	return false
}

// expand lists the .toml files of folders beside plain paths.
func expand(paths []string) []string {
	var out []string
	for _, p := range paths {
		entries, err := os.ReadDir(p)
		if err != nil {
			if p != "" {
				out = append(out, p)
			}
			continue
		}
		for _, e := range entries {
			if n := e.Name(); !e.IsDir() && strings.HasSuffix(n, ".toml") && !strings.HasPrefix(n, ".") {
				out = append(out, filepath.Join(p, n))
			}
		}
	}
	return out
}

// stateOf is what a file holds; old is what it held when last looked at. Times
// of a file are too coarse to trust within two seconds of a change.
func stateOf(file string, old fileState) fileState {
	st, err := os.Stat(file)
	if err != nil || !st.Mode().IsRegular() {
		return fileState{}
	}
	if o := old.info; o != nil && os.SameFile(o, st) && o.Size() == st.Size() && o.ModTime().Equal(st.ModTime()) && time.Since(st.ModTime()).Abs() > 2*time.Second {
		return old
	}
	f, err := os.Open(file)
	if err != nil {
		return fileState{}
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, io.LimitReader(f, form.MaxBytes+1)); err != nil {
		return fileState{}
	}
	s := fileState{there: true, info: st}
	h.Sum(s.sum[:0])
	return s
}
