package journal

import (
	"cmp"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
)

// memFS is a disk in memory that behaves as badly as a real one may: it can
// fail at any call, run full, lose what was not synced when the power goes,
// and after a failed sync it forgets that the data was ever dirty, so that a
// second sync of it succeeds and saves nothing.
type memFS struct {
	mu      sync.Mutex
	names   map[string]*memNode // what programs see
	durable map[string]*memNode // what a power cut leaves
	locks   map[string]*memLock
	room    int // bytes left; negative: no limit

	calls int
	// before, where set, is asked at each call that could fail; its error is
	// the call's. part, for a write, is how many bytes still get in.
	before func(n int, op, name string) (part int, err error)
}

type memNode struct {
	dir    bool
	data   []byte
	synced []byte
	clean  int // bytes of data that a sync need not write (again)
	mode   fs.FileMode
}

func newMemFS() *memFS {
	return &memFS{names: map[string]*memNode{}, durable: map[string]*memNode{}, locks: map[string]*memLock{}, room: -1}
}

// fail sets before while others use the disk.
func (m *memFS) fail(before func(n int, op, name string) (part int, err error)) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.before = before
}

// made is how many calls there were.
func (m *memFS) made() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.calls
}

func (m *memFS) enter(op, name string) (int, error) {
	m.calls++
	if m.before == nil {
		return 0, nil
	}
	part, err := m.before(m.calls, op, name)
	if err != nil {
		err = &fs.PathError{Op: op, Path: name, Err: err}
	}
	return part, err
}

// powerCut is the disk as found after the power went: what was synced, and
// what kept makes of the bytes behind it that were not.
func (m *memFS) powerCut(kept func(unsynced []byte) []byte) *memFS {
	m.mu.Lock()
	defer m.mu.Unlock()
	found := newMemFS()
	for name, n := range m.durable {
		c := *n
		c.data = slices.Clone(n.synced)
		if len(n.data) > len(n.synced) {
			c.data = append(c.data, kept(n.data[len(n.synced):])...)
		}
		c.synced, c.clean = slices.Clone(c.data), len(c.data)
		found.names[name] = &c
	}
	found.durable = maps.Clone(found.names)
	return found
}

// The ways in which a disk keeps what was not synced.
var keptWays = map[string]func([]byte) []byte{
	"nothing":       func([]byte) []byte { return nil },
	"everything":    func(b []byte) []byte { return b },
	"half":          func(b []byte) []byte { return b[:len(b)/2] },
	"zeros":         func(b []byte) []byte { return make([]byte, len(b)) },
	"half, zeros":   func(b []byte) []byte { return append(slices.Clone(b[:len(b)/2]), make([]byte, len(b)-len(b)/2)...) },
	"all but a bit": func(b []byte) []byte { return b[:len(b)-1] },
}

func (m *memFS) MkdirAll(dir string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, err := m.enter("mkdir", dir); err != nil {
		return err
	}
	for d := dir; d != "." && d != "/"; d = filepath.Dir(d) {
		if m.names[d] == nil {
			m.names[d] = &memNode{dir: true, mode: fs.ModeDir | 0o755}
			m.durable[d] = m.names[d]
		}
	}
	return nil
}

func (m *memFS) Lstat(name string) (fs.FileInfo, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	n := m.names[name]
	if n == nil {
		return nil, &fs.PathError{Op: "lstat", Path: name, Err: fs.ErrNotExist}
	}
	return memInfo{filepath.Base(name), n, int64(len(n.data))}, nil
}

func (m *memFS) SameFile(a, b fs.FileInfo) bool { return a.(memInfo).node == b.(memInfo).node }

func (m *memFS) ReadDir(dir string) (list []fs.DirEntry, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, err := m.enter("readdir", dir); err != nil {
		return nil, err
	}
	if m.names[dir] == nil {
		return nil, &fs.PathError{Op: "readdir", Path: dir, Err: fs.ErrNotExist}
	}
	for name, n := range m.names {
		if filepath.Dir(name) == dir && name != dir {
			list = append(list, fs.FileInfoToDirEntry(memInfo{filepath.Base(name), n, int64(len(n.data))}))
		}
	}
	slices.SortFunc(list, func(a, b fs.DirEntry) int { return cmp.Compare(a.Name(), b.Name()) })
	return list, nil
}

func (m *memFS) Open(name string, flag int) (File, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, err := m.enter("open", name); err != nil {
		return nil, err
	}
	n := m.names[name]
	fail := func(err error) (File, error) { return nil, &fs.PathError{Op: "open", Path: name, Err: err} }
	switch {
	case n == nil && flag&os.O_CREATE == 0:
		return fail(fs.ErrNotExist)
	case n != nil && flag&os.O_EXCL != 0:
		return fail(fs.ErrExist)
	case n != nil && n.dir:
		return fail(syscall.EISDIR)
	case n == nil && m.names[filepath.Dir(name)] == nil:
		return fail(fs.ErrNotExist)
	case n == nil:
		n = &memNode{mode: 0o644}
		m.names[name] = n
	}
	return &memFile{m, n, name}, nil
}

func (m *memFS) Rename(from, to string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, err := m.enter("rename", from); err != nil {
		return err
	}
	n := m.names[from]
	if n == nil {
		return &fs.PathError{Op: "rename", Path: from, Err: fs.ErrNotExist}
	}
	delete(m.names, from)
	m.names[to] = n
	return nil
}

func (m *memFS) Remove(name string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, err := m.enter("remove", name); err != nil {
		return err
	}
	n := m.names[name]
	if n == nil {
		return &fs.PathError{Op: "remove", Path: name, Err: fs.ErrNotExist}
	}
	for in := range m.names {
		if filepath.Dir(in) == name {
			return &fs.PathError{Op: "remove", Path: name, Err: syscall.ENOTEMPTY}
		}
	}
	if m.room >= 0 {
		m.room += len(n.data)
	}
	delete(m.names, name)
	return nil
}

func (m *memFS) SyncDir(dir string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, err := m.enter("syncdir", dir); err != nil {
		return err
	}
	for name := range m.durable {
		if filepath.Dir(name) == dir && m.names[name] == nil {
			delete(m.durable, name)
		}
	}
	for name, n := range m.names {
		if filepath.Dir(name) == dir {
			m.durable[name] = n
		}
	}
	return nil
}

type memLock struct {
	m    *memFS
	name string
}

func (l *memLock) Close() error {
	l.m.mu.Lock()
	defer l.m.mu.Unlock()
	if l.m.locks[l.name] == l {
		delete(l.m.locks, l.name)
	}
	_, err := l.m.enter("close", l.name)
	return err
}

func (m *memFS) Lock(name, holder string) (io.Closer, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, err := m.enter("lock", name); err != nil {
		return nil, err
	}
	if m.locks[name] != nil {
		return nil, heldError{name, "another"}
	}
	m.locks[name] = &memLock{m, name}
	return m.locks[name], nil
}

type memFile struct {
	m    *memFS
	n    *memNode
	name string
}

func (f *memFile) Write(b []byte) (int, error) {
	f.m.mu.Lock()
	defer f.m.mu.Unlock()
	part, err := f.m.enter("write", f.name)
	if err == nil {
		part = len(b)
	}
	part = min(part, len(b))
	if f.m.room >= 0 && part > f.m.room {
		part = f.m.room
		err = &fs.PathError{Op: "write", Path: f.name, Err: syscall.ENOSPC}
	}
	if f.m.room >= 0 {
		f.m.room -= part
	}
	f.n.data = append(f.n.data, b[:part]...)
	return part, err
}

func (f *memFile) WriteAt(b []byte, off int64) (int, error) {
	f.m.mu.Lock()
	defer f.m.mu.Unlock()
	part, err := f.m.enter("writeat", f.name)
	if err == nil {
		part = len(b)
	}
	n := copy(f.n.data[off:], b[:min(part, len(b))]) // never beyond the end
	f.n.clean = min(f.n.clean, int(off))
	return n, err
}

func (f *memFile) ReadAt(b []byte, off int64) (int, error) {
	f.m.mu.Lock()
	defer f.m.mu.Unlock()
	if _, err := f.m.enter("read", f.name); err != nil {
		return 0, err
	}
	if off >= int64(len(f.n.data)) {
		return 0, io.EOF
	}
	n := copy(b, f.n.data[off:])
	if n < len(b) {
		return n, io.EOF
	}
	return n, nil
}

func (f *memFile) Sync() error {
	f.m.mu.Lock()
	defer f.m.mu.Unlock()
	if _, err := f.m.enter("sync", f.name); err != nil {
		f.n.clean = len(f.n.data) // the pages are marked clean all the same
		return err
	}
	for len(f.n.synced) < f.n.clean {
		f.n.synced = append(f.n.synced, 0) // never written: a hole
	}
	f.n.synced = append(f.n.synced[:f.n.clean], f.n.data[f.n.clean:]...)
	f.n.clean = len(f.n.data)
	return nil
}

func (f *memFile) Truncate(size int64) error {
	f.m.mu.Lock()
	defer f.m.mu.Unlock()
	if _, err := f.m.enter("truncate", f.name); err != nil {
		return err
	}
	f.n.data = f.n.data[:size]
	f.n.synced = f.n.synced[:min(len(f.n.synced), int(size))]
	f.n.clean = min(f.n.clean, int(size))
	return nil
}

func (f *memFile) Stat() (fs.FileInfo, error) {
	f.m.mu.Lock()
	defer f.m.mu.Unlock()
	return memInfo{filepath.Base(f.name), f.n, int64(len(f.n.data))}, nil
}

func (f *memFile) Close() error {
	f.m.mu.Lock()
	defer f.m.mu.Unlock()
	_, err := f.m.enter("close", f.name)
	return err
}

type memInfo struct {
	name string
	node *memNode
	size int64
}

func (i memInfo) Name() string       { return i.name }
func (i memInfo) Size() int64        { return i.size }
func (i memInfo) Mode() fs.FileMode  { return i.node.mode }
func (i memInfo) ModTime() time.Time { return time.Time{} }
func (i memInfo) IsDir() bool        { return i.node.dir }
func (i memInfo) Sys() any           { return nil }

// texts is every file of a folder but the lock and what stands aside of the
// log.
func (m *memFS) texts(dir string) map[string]string {
	m.mu.Lock()
	defer m.mu.Unlock()
	out := map[string]string{}
	for name, n := range m.names {
		if rel, ok := strings.CutPrefix(name, dir+"/"); ok && !n.dir {
			out[rel] = string(n.data)
		}
	}
	return out
}

// load puts a real folder on the disk in memory.
func (m *memFS) load(dir string, texts map[string]string) {
	_ = m.MkdirAll(dir)
	for name, text := range texts {
		_ = m.MkdirAll(filepath.Dir(filepath.Join(dir, name)))
		m.set(filepath.Join(dir, name), []byte(text))
	}
}

// set changes a file behind the journal's back; nil removes it.
func (m *memFS) set(path string, b []byte) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if b == nil {
		delete(m.names, path)
		return
	}
	m.names[path] = &memNode{data: b, synced: b, clean: len(b), mode: 0o644}
	m.durable[path] = m.names[path]
}

// verify is Verify on this disk.
func (m *memFS) verify(dir string) (Report, error) {
	f, err := loadFolder(m, dir, "")
	if err != nil {
		return Report{}, err
	}
	return f.verify(dir), nil
}

// faults are what a disk says when it fails.
var faults = []error{syscall.ENOSPC, syscall.EIO, syscall.EDQUOT}

func damage(r Report) (list []string) {
	for _, x := range r.Files {
		if !x.Holds {
			list = append(list, fmt.Sprintf("%s: %s", x.Name, x.Text))
		}
	}
	return list
}
