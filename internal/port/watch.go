package port

import (
	"path/filepath"
	"sync"

	"github.com/fsnotify/fsnotify"
)

// deviceDirs is where devices appear. /dev/serial comes and goes with the last
// adapter, so it is found again through its parent.
var deviceDirs = []string{"/dev", "/dev/serial", "/dev/serial/by-id", "/dev/serial/by-path", "/dev/pts", "/dev/input", "/dev/input/by-id", "/dev/input/by-path"}

// Changes gives a channel that gets a value when something appeared in, left or
// changed its rights in the device folders or the folder of a. stop ends it.
// All callers share one watcher, which runs only while somebody waits. Where
// folders cannot be watched nothing ever comes, and the caller's own timer must
// do.
func Changes(a Address) (changed <-chan struct{}, stop func()) {
	dirs := deviceDirs
	if a.Path != "" {
		if abs, err := filepath.Abs(a.Path); err == nil {
			dirs = append(dirs[:len(dirs):len(dirs)], filepath.Dir(abs))
		}
	}
	return plugs.subscribe(dirs)
}

var plugs hub

type hub struct {
	mu   sync.Mutex
	fs   *fsnotify.Watcher
	subs map[chan struct{}][]string
}

func (h *hub) subscribe(dirs []string) (<-chan struct{}, func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	ch := make(chan struct{}, 1)
	if h.fs == nil {
		fs, err := fsnotify.NewWatcher()
		if err != nil {
			return ch, func() {}
		}
		h.fs, h.subs = fs, map[chan struct{}][]string{}
		go h.run(fs)
	}
	h.subs[ch] = dirs
	watchAll(h.fs, dirs)
	var once sync.Once
	return ch, func() { once.Do(func() { h.unsubscribe(ch) }) }
}

func (h *hub) unsubscribe(ch chan struct{}) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.subs, ch)
	if len(h.subs) == 0 && h.fs != nil {
		h.fs.Close()
		h.fs = nil
	}
}

func (h *hub) run(fs *fsnotify.Watcher) {
	for {
		select {
		case e, ok := <-fs.Events:
			if !ok {
				return
			}
			// A write to a terminal is an event of its folder too, and says nothing.
			if e.Op&^fsnotify.Write != 0 {
				h.tell(fs, e.Has(fsnotify.Create))
			}
		case _, ok := <-fs.Errors: // an overflow: events were lost, so look
			if !ok {
				return
			}
			h.tell(fs, true)
		}
	}
}

func (h *hub) tell(fs *fsnotify.Watcher, created bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.fs != fs {
		return
	}
	for ch, dirs := range h.subs {
		if created {
			watchAll(fs, dirs)
		}
		select {
		case ch <- struct{}{}:
		default:
		}
	}
}

// watchAll watches the folders, or for one that is missing the nearest parent
// that is there. Watching a folder twice is no more than watching it once.
func watchAll(fs *fsnotify.Watcher, dirs []string) {
	for _, d := range dirs {
		for fs.Add(d) != nil {
			parent := filepath.Dir(d)
			if parent == d {
				break
			}
			d = parent
		}
	}
}
