package journal

import (
	"fmt"
	"io"
	"io/fs"
	"os"
)

// FS is the file layer under the journal. Tests swap it to fail at any call;
// nil in Options is the real one. Names are whole paths.
type FS interface {
	// MkdirAll makes a folder and those above it.
	MkdirAll(dir string) error
	// Lstat tells what stands at a name, without following a link.
	Lstat(name string) (fs.FileInfo, error)
	// SameFile tells whether two infos of this layer are of one file.
	SameFile(a, b fs.FileInfo) bool
	ReadDir(dir string) ([]fs.DirEntry, error)
	// Open opens a regular file with the flags of package os. It never goes
	// through a symbolic link.
	Open(name string, flag int) (File, error)
	Rename(from, to string) error
	Remove(name string) error
	// SyncDir makes names in a folder durable.
	SyncDir(dir string) error
	// Lock takes an exclusive lock on a file that dies with the process.
	// Where another holds it the error says who, by what the holder wrote.
	Lock(name, holder string) (io.Closer, error)
}

// File is an open file of the layer.
type File interface {
	io.Writer
	io.ReaderAt
	io.WriterAt
	io.Closer
	Sync() error
	Truncate(size int64) error
	Stat() (fs.FileInfo, error)
}

// osFS is the real file layer.
type osFS struct{}

func (osFS) MkdirAll(dir string) error                 { return os.MkdirAll(dir, 0o755) }
func (osFS) Lstat(name string) (fs.FileInfo, error)    { return os.Lstat(name) }
func (osFS) SameFile(a, b fs.FileInfo) bool            { return os.SameFile(a, b) }
func (osFS) ReadDir(dir string) ([]fs.DirEntry, error) { return os.ReadDir(dir) }
func (osFS) Rename(from, to string) error              { return os.Rename(from, to) }
func (osFS) Remove(name string) error                  { return os.Remove(name) }

func (osFS) Open(name string, flag int) (File, error) {
	// The check before the open keeps a named pipe from blocking it; noFollow
	// closes the gap between the two where the system can.
	if info, err := os.Lstat(name); err == nil && !info.Mode().IsRegular() {
		return nil, notRegular(name, info.Mode())
	}
	f, err := os.OpenFile(name, flag|noFollow, 0o644)
	if err != nil {
		return nil, err
	}
	return f, nil
}

// notRegular is the refusal of a link, pipe or folder where a file belongs.
func notRegular(name string, mode fs.FileMode) error {
	what := "no regular file"
	if mode&fs.ModeSymlink != 0 {
		what = "a symbolic link"
	}
	return fmt.Errorf("%s is %s: a job's folder holds regular files only; move it away", name, what)
}

func (osFS) SyncDir(dir string) error { return syncDir(dir) }

// heldError says that another process holds a lock.
type heldError struct{ name, holder string }

func (e heldError) Error() string {
	if e.holder == "" {
		return e.name + " is held by another process"
	}
	return e.name + " is held by " + e.holder
}

// readHolder is what the holder of a lock wrote into it.
func readHolder(f *os.File) string {
	b := make([]byte, 200)
	n, _ := f.ReadAt(b, 0)
	for i, c := range b[:n] {
		if c < ' ' || c > '~' {
			return string(b[:i])
		}
	}
	return string(b[:n])
}

func (osFS) Lock(name, holder string) (io.Closer, error) {
	if info, err := os.Lstat(name); err == nil && !info.Mode().IsRegular() {
		return nil, notRegular(name, info.Mode())
	}
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|noFollow, 0o644)
	if err != nil {
		return nil, err
	}
	if held, err := lockFile(f); err != nil {
		f.Close()
		return nil, fmt.Errorf("lock %s: %w", name, err)
	} else if held {
		defer f.Close()
		return nil, heldError{name, readHolder(f)}
	}
	// The text only helps people; a full disk must not keep the lock away.
	if f.Truncate(0) == nil {
		_, _ = f.WriteAt([]byte(holder+"\n"), 0)
	}
	return f, nil
}
