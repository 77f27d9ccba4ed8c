package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"thouwright/internal/ledger"
)

// open opens the last part for appending, or makes the first.
func (s *stream) open(parts []int, names []string) (said []string, err error) {
	if len(parts) == 0 {
		s.part = 1
		s.chain = s.seed(1)
		s.synced = s.chain
		s.size = int64(len(s.header)) + 1
		if s.f, err = s.create(1, nil); err != nil {
			return nil, fmt.Errorf("%s: %w", s.name(), bare(err))
		}
		return nil, nil
	}
	s.part = parts[len(parts)-1]
	s.f, err = s.fsys.Open(s.path(), os.O_RDWR|os.O_APPEND)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.name(), bare(err))
	}
	words, err := s.repair(names)
	if words != "" {
		said = append(said, words)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.name(), bare(err))
	}
	s.synced = s.chain
	return said, nil
}

// repair checks the header and cuts a torn tail.
func (s *stream) repair(names []string) (said string, err error) {
	info, err := s.f.Stat()
	if err != nil {
		return "", err
	}
	head := make([]byte, len(s.header)+1)
	n, err := s.f.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	want := s.header + "\n"
	if string(head[:n]) != want {
		return s.repairHeader(head[:n], want, info.Size(), names)
	}
	s.chain = s.seed(s.part)
	whole, chain, fits, err := s.lastWhole(info.Size())
	if err != nil {
		return "", err
	}
	if chain != nil {
		s.chain = *chain
	}
	s.size = whole
	if whole < info.Size() {
		if said, err = s.cut(whole, info.Size(), names); err != nil {
			return said, err
		}
	}
	if !fits {
		said = strings.TrimPrefix(said+"; ", "; ") + s.name() + ": the last row does not fit its chain; it is left as it is, see verify"
	}
	return said, nil
}

// repairHeader mends a file that was torn before its first row. A file with
// another first line is not ours to append to: the log goes on in the next part.
func (s *stream) repairHeader(have []byte, want string, size int64, names []string) (string, error) {
	s.chain = s.seed(s.part)
	if !strings.HasPrefix(want, string(have)) && strings.Trim(string(have), "\x00") != "" {
		s.synced = s.chain
		broken := s.name()
		if err := s.nextPart(); err != nil {
			return "", err
		}
		return broken + " does not begin with its header; the log goes on in " + s.name(), nil
	}
	said := ""
	if size > 0 {
		var err error
		if said, err = s.cut(0, size, names); err != nil {
			return said, err
		}
	}
	s.size = int64(len(want))
	return said, writeWhole(s.f, []byte(want))
}

// lastWhole finds the end of the last whole row and its chain (nil: there is
// none), and whether that row follows from the one before it.
func (s *stream) lastWhole(size int64) (end int64, chain *ledger.Chain, fits bool, err error) {
	rows, end, err := tailRows(s.file, s.f, size)
	if err != nil || len(rows) == 0 {
		return end, nil, true, err
	}
	last, before := rows[len(rows)-1], s.seed(s.part)
	if len(rows) > 1 {
		before = rows[0].chain
	}
	return end, &last.chain, before.Next(last.payload) == last.chain, nil
}

// tailRows finds the last two whole rows of a part (or the only one), reading
// from its end, and where the last of them ends.
func tailRows(file ledger.File, r io.ReaderAt, size int64) (rows []row, end int64, err error) {
	first := int64(len(file.Header())) + 1
	for window := int64(1 << 16); ; window *= 4 {
		from := max(size-window, first)
		buf := make([]byte, max(size-from, 0))
		if _, err := r.ReadAt(buf, from); err != nil && !errors.Is(err, io.EOF) {
			return nil, 0, err
		}
		rows, n := wholeRows(file, buf, from == first)
		if from == first || len(rows) == 2 {
			return rows, from + int64(n), nil
		}
	}
}

// wholeRows lists up to two of the last whole rows in buf that stand one
// behind the other, and where the last one ends. Where buf does not begin at
// a row's start its first line does not count.
func wholeRows(f ledger.File, buf []byte, atStart bool) (rows []row, end int) {
	stop := bytes.LastIndexByte(buf, '\n')
	for stop >= 0 && len(rows) < 2 {
		start := bytes.LastIndexByte(buf[:stop], '\n') + 1
		if start == 0 && !atStart {
			break
		}
		r, err := cutRow(f, buf[start:stop])
		switch {
		case err == nil:
			if len(rows) == 0 {
				end = stop + 1
			}
			rows = append(rows, r)
		case len(rows) > 0:
			slices.Reverse(rows)
			return rows, end
		}
		stop = start - 1
	}
	slices.Reverse(rows)
	return rows, end
}

// cut keeps the bytes from end on in NAME.torn-N and shortens the file.
func (s *stream) cut(end, size int64, names []string) (string, error) {
	buf := make([]byte, size-end)
	if _, err := s.f.ReadAt(buf, end); err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	name := ""
	for n := 1; ; n++ {
		name = fmt.Sprintf("%s.torn-%d", strings.TrimSuffix(s.name(), ".csv"), n)
		if !slices.Contains(names, name) {
			break
		}
	}
	if err := keepBytes(s.fsys, filepath.Join(s.dir, name), buf); err != nil {
		return "", err
	}
	if err := s.fsys.SyncDir(s.dir); err != nil {
		return "", err
	}
	// Not through s.f: some systems cannot shorten a file opened for appending.
	f, err := s.fsys.Open(s.path(), os.O_RDWR)
	if err != nil {
		return "", err
	}
	if err := errors.Join(f.Truncate(end), f.Close()); err != nil {
		return "", err
	}
	return fmt.Sprintf("%s ended in %d bytes that are no whole row; they are kept: %s", s.name(), len(buf), sheetText(name, buf)), nil
}

// keepBytes writes a new file, synced.
func keepBytes(fsys FS, path string, b []byte) error {
	f, err := fsys.Open(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL)
	if err != nil {
		return err
	}
	err = writeWhole(f, b)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
