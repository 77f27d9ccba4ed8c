package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"thouwright/internal/ledger"
)

// secure makes durable what was found. Rows behind the last anchor may stand in
// the system's cache only, and if their sync once failed, a new one would
// succeed without writing them. So they are written again, in place and
// unchanged, and then synced.
func (w *writer) secure(f *Folder) error {
	anchored := map[string]ledger.Chain{}
	for i := range f.Events {
		if e := &f.Events[i]; e.Kind == ledger.EvAnchor {
			_, entries, _ := parseAnchor(e.Text)
			for _, x := range entries {
				anchored[x.file] = x.chain
			}
		}
	}
	for _, s := range w.all() {
		c, ok := anchored[s.name()]
		if err := s.writeAgain(c, ok); err != nil {
			return fmt.Errorf("%s: %w", s.name(), bare(err))
		}
	}
	return w.fsys.SyncDir(w.j.dir)
}

// writeAgain is secure for one file: from the row behind chain c, or from the
// beginning where there is none.
func (s *stream) writeAgain(c ledger.Chain, some bool) error {
	f, err := s.fsys.Open(s.path(), os.O_RDWR) // not for appending: that forbids a place
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	from := int64(0)
	if some {
		if from, err = behindChain(f, info.Size(), c); err != nil {
			return err
		}
	}
	buf := make([]byte, min(info.Size()-from, 1<<20))
	for from < info.Size() {
		n, err := f.ReadAt(buf[:min(int64(len(buf)), info.Size()-from)], from)
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		m, err := f.WriteAt(buf[:n], from)
		if err == nil && m < n || n == 0 {
			err = io.ErrShortWrite
		}
		if err != nil {
			return err
		}
		from += int64(n)
	}
	return f.Sync()
}

// behindChain is where the row of chain c ends; 0 where there is none such.
func behindChain(r io.ReaderAt, size int64, c ledger.Chain) (int64, error) {
	mark := append(append([]byte{','}, c[:]...), '\n')
	for window := int64(1 << 12); ; window *= 8 {
		from := max(size-window, 0)
		buf := make([]byte, size-from)
		if _, err := r.ReadAt(buf, from); err != nil && !errors.Is(err, io.EOF) {
			return 0, err
		}
		if i := bytes.LastIndex(buf, mark); i >= 0 {
			return from + int64(i+len(mark)), nil
		}
		if from == 0 {
			return 0, nil
		}
	}
}
