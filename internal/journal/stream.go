package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"thouwright/internal/ledger"
)

// stream is one log file of the job: its present part, and the rows that are
// not known to be on disk. Such rows stay in memory whatever happened to the
// file, because after a failed sync nobody can say what the disk holds: they
// are written again, from the first, to the next part.
type stream struct {
	file   ledger.File
	header string
	number string // the job's
	fsys   FS
	dir    string

	part  int
	f     File // nil: the part is given up, the next write opens another
	chain ledger.Chain
	// synced is the chain behind the last row known to be on disk.
	synced ledger.Chain
	pend   []byte // rows behind it
	wrote  int    // how much of pend the file has been given
	size   int64  // of the part, with pend
	// ended holds the parts given up or full, each with the chain of its last
	// row that counts.
	ended []anchorEntry
	told  int // how many of them an anchor has told of
}

// olderParts is how many parts before the present one every anchor tells of
// again. An anchor tells of each part at least once, when it ends; the stop
// tells of all. Telling of all each time would grow with their square.
const olderParts = 8

// anchors appends the file's lines in an anchor to list.
func (s *stream) anchors(list []anchorEntry, all bool) []anchorEntry {
	from := 0
	if !all {
		from = max(0, min(s.told, len(s.ended)-olderParts))
	}
	s.told = len(s.ended)
	return append(append(list, s.ended[from:]...), anchorEntry{s.name(), s.chain})
}

// keepBuffer is the largest buffer kept for reuse: what grew in trouble goes.
const keepBuffer = 4 << 20

// maxParts ends the search for a free part name.
const maxParts = 100000

func (s *stream) name() string { return partName(s.file.Name, s.part) }
func (s *stream) path() string { return filepath.Join(s.dir, s.name()) }
func (s *stream) seed(part int) ledger.Chain {
	return ledger.Seed(partName(s.file.Name, part), s.number, s.header)
}

// add appends one row.
func (s *stream) add(format func([]byte) []byte) {
	n := len(s.pend)
	s.pend = ledger.AppendChained(s.pend, &s.chain, format)
	s.size += int64(len(s.pend) - n)
}

// write gives the file what it has not been given.
func (s *stream) write() error {
	if len(s.pend) == 0 {
		return nil
	}
	if s.f == nil {
		return s.nextPart()
	}
	if s.wrote == len(s.pend) {
		return nil
	}
	n, err := s.f.Write(s.pend[s.wrote:])
	s.wrote += max(n, 0)
	if err == nil && s.wrote < len(s.pend) {
		err = io.ErrShortWrite
	}
	if err != nil {
		s.giveUp()
		return fmt.Errorf("%s cannot be written: %w", s.name(), bare(err))
	}
	return nil
}

// sync makes every row durable.
func (s *stream) sync() error {
	if len(s.pend) == 0 {
		return nil
	}
	if err := s.write(); err != nil {
		return err
	}
	if len(s.pend) == 0 {
		return nil // a new part was written and synced
	}
	if err := s.f.Sync(); err != nil {
		s.giveUp()
		return fmt.Errorf("%s cannot be synced: %w", s.name(), bare(err))
	}
	if err := s.inPlace(); err != nil {
		s.giveUp()
		return err
	}
	s.landed()
	return nil
}

// landed notes that all rows are on disk.
func (s *stream) landed() {
	s.pend, s.wrote, s.synced = s.pend[:0], 0, s.chain
	if cap(s.pend) > keepBuffer {
		s.pend = nil
	}
}

// errGone is a file that is no longer where it was opened: writing on would
// succeed and keep nothing.
var errGone = errors.New("was moved or removed while in use")

// inPlace checks that the file written to is still the one at its name.
func (s *stream) inPlace() error {
	have, err := s.f.Stat()
	if err != nil {
		return fmt.Errorf("%s: %w", s.name(), bare(err))
	}
	there, err := s.fsys.Lstat(s.path())
	if errors.Is(err, fs.ErrNotExist) || err == nil && !s.fsys.SameFile(have, there) {
		return fmt.Errorf("%s %w", s.name(), errGone)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", s.name(), bare(err))
	}
	return nil
}

// giveUp ends the part at its last synced row.
func (s *stream) giveUp() {
	if s.f != nil {
		_ = s.f.Close() // what it held counts as not written anyway
		s.f = nil
	}
}

// create makes a part with its header, and syncs both.
func (s *stream) create(part int, rows []byte) (File, error) {
	path := filepath.Join(s.dir, partName(s.file.Name, part))
	f, err := s.fsys.Open(path, os.O_RDWR|os.O_CREATE|os.O_EXCL|os.O_APPEND)
	if err != nil {
		return nil, err
	}
	err = writeWhole(f, []byte(s.header+"\n"))
	if err == nil && len(rows) > 0 {
		err = writeWhole(f, rows)
	}
	if err == nil {
		err = f.Sync()
	}
	if err == nil {
		err = s.fsys.SyncDir(s.dir)
	}
	if err != nil {
		_ = f.Close()
		_ = s.fsys.Remove(path) // nothing in it was acknowledged
		return nil, err
	}
	return f, nil
}

// writeWhole is a write that says when it was short.
func writeWhole(f File, b []byte) error {
	n, err := f.Write(b)
	if err == nil && n < len(b) {
		err = io.ErrShortWrite
	}
	return err
}

// nextPart writes all rows not known to be on disk to the next part, synced.
// The part before it ends, for good, at its last synced row.
func (s *stream) nextPart() error {
	s.giveUp()
	for part := s.part + 1; part < maxParts; part++ {
		chain := s.seed(part)
		rows := rechain(s.pend, &chain)
		f, err := s.create(part, rows)
		if errors.Is(err, fs.ErrExist) {
			// Left by an attempt that could not be removed: none of its rows
			// counts.
			continue
		}
		if err != nil {
			return fmt.Errorf("%s cannot be written: %w", partName(s.file.Name, part), bare(err))
		}
		s.ended = append(s.ended, anchorEntry{s.name(), s.synced})
		for p := s.part + 1; p < part; p++ {
			s.ended = append(s.ended, anchorEntry{partName(s.file.Name, p), s.seed(p)})
		}
		s.part, s.f, s.chain = part, f, chain
		s.size = int64(len(s.header) + 1 + len(rows))
		s.landed()
		return nil
	}
	return fmt.Errorf("%s: no free part name left", s.file.Name)
}

// rechain writes rows again with the chain of another part.
func rechain(rows []byte, c *ledger.Chain) []byte {
	out := make([]byte, 0, len(rows))
	for len(rows) > 0 {
		end := bytes.IndexByte(rows, '\n')
		payload := rows[:end-ledger.ChainLen]
		out = ledger.AppendChained(out, c, func(b []byte) []byte { return append(b, payload...) })
		rows = rows[end+1:]
	}
	return out
}

// bare is an error without the path it names: the line says the file already.
func bare(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
