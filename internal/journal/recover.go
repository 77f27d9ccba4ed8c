package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
)

// lockName is the lock of a job's folder.
const lockName = ".lock"

// Recovered is what a restart needs to go on where the job was.
type Recovered struct {
	New      bool         // the folder holds nothing measured yet
	LastSeq  uint64       // the next reading is LastSeq+1
	LastTake uint64       // the next take is LastTake+1
	Last     ledger.Stamp // of the last row; its Elapsed belongs to the run before
	Place    ledger.Tag   // active when the last run ended; zero: unknown
	// Measured says that the last take at Place was made since Place was made
	// active, and that no row tells of what came then: the run ended between.
	Measured bool
	Takes    []ledger.Take // with rests, budget and extras, in order
	Events   []ledger.Event
	Sheet    int    // version of the job sheet, 0: none
	SheetTxt []byte // its text
	BenchTxt []byte
	Repaired []string // what was repaired, in words; events say it too
}

// Open makes or opens the folder of a job and locks it. A torn tail is cut to
// the last whole row, kept beside its file, and said in an event.
func Open(o Options) (*Journal, *Recovered, error) {
	if err := o.fill(); err != nil {
		return nil, nil, err
	}
	if o.Holder == "" {
		o.Holder = fmt.Sprintf("process %d", os.Getpid())
	}
	j := newJournal(o)
	j.sheets.init()
	if err := makeFolder(o.FS, o.Dir, j.dir); err != nil {
		return nil, nil, err
	}
	lock, err := o.FS.Lock(filepath.Join(j.dir, lockName), o.Holder)
	if held := (heldError{}); errors.As(err, &held) {
		who := held.holder
		if who == "" {
			who = "another process"
		}
		return nil, nil, fmt.Errorf("job folder %s is in use by %s: stop it first, or choose another job", j.dir, who)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("job folder %s: %w", j.dir, err)
	}
	w := &writer{j: j, fsys: o.FS, lock: lock}
	rec, err := w.open()
	if err != nil {
		return nil, nil, errors.Join(fmt.Errorf("job folder %s: %w", j.dir, err), w.letGo())
	}
	j.logged.Store(rec.LastSeq)
	go w.run()
	return j, rec, nil
}

func makeFolder(fsys FS, logDir, dir string) error {
	if err := fsys.MkdirAll(logDir); err != nil {
		return fmt.Errorf("log folder %s: %w", logDir, bare(err))
	}
	info, err := fsys.Lstat(dir)
	if err == nil && !info.IsDir() {
		return notRegular(dir, info.Mode())
	}
	if err == nil {
		return nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("job folder %s: %w", dir, bare(err))
	}
	if err := fsys.MkdirAll(dir); err != nil {
		return fmt.Errorf("job folder %s: %w", dir, bare(err))
	}
	if err := fsys.SyncDir(logDir); err != nil {
		return fmt.Errorf("log folder %s: %w", logDir, bare(err))
	}
	return nil
}

// open opens every stream, repairs tails and gathers what a restart needs.
func (w *writer) open() (*Recovered, error) {
	for _, x := range []struct {
		s    **stream
		file ledger.File
	}{{&w.readings, ledger.ReadingsFile}, {&w.rests, ledger.RestsFile}, {&w.budget, ledger.BudgetFile},
		{&w.extras, ledger.ExtrasFile}, {&w.takes, ledger.TakesFile}, {&w.events, ledger.EventsFile}} {
		*x.s = &stream{file: x.file, header: x.file.Header(), number: w.j.o.Number, fsys: w.fsys, dir: w.j.dir}
	}
	names, err := namesIn(w.fsys, w.j.dir)
	if err != nil {
		return nil, err
	}
	var said []string
	for _, s := range w.all() {
		words, err := s.open(partsOf(s.file.Name, names), names)
		if err != nil {
			return nil, err
		}
		said = append(said, words...)
	}
	f, err := loadFolder(w.fsys, w.j.dir, w.j.o.Number)
	if err != nil {
		return nil, err
	}
	if f.unreadable != nil {
		return nil, f.unreadable
	}
	for _, s := range w.all() {
		said = append(said, s.recallEnds(f)...)
	}
	if err := w.secure(f); err != nil {
		return nil, err
	}
	for _, s := range f.Sheets {
		if s.Stated == "" {
			said = append(said, lateText+sheetText(s.Name, s.Text))
		}
	}
	for _, text := range said {
		w.said = append(w.said, ledger.Event{Kind: ledger.EvRepaired, Text: text})
	}
	rec, err := recovered(f)
	if err != nil {
		return nil, err
	}
	rec.Repaired = said
	w.seq, w.at = rec.LastSeq, rec.Last
	w.j.sheets.recall(f)
	if s, ok := w.j.sheets.latest["job.toml"]; ok {
		rec.Sheet, rec.SheetTxt = w.j.sheets.version["job.toml"], s.text
	}
	rec.BenchTxt = w.j.sheets.latest["bench.toml"].text
	return rec, nil
}

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

// recallEnds learns where the older parts end. A crash between a new part and
// its anchor leaves that unsaid; then the overlap of the parts tells.
func (s *stream) recallEnds(f *Folder) (said []string) {
	parts := f.parts[s.file.Name]
	for i := range parts[:max(len(parts)-1, 0)] {
		p := &parts[i]
		if p.number >= s.part {
			break
		}
		s.ended = append(s.ended, anchorEntry{p.name, p.end})
		if !p.stated {
			said = append(said, fmt.Sprintf("%s goes on in %s", p.name, parts[i+1].name))
		}
	}
	return said
}

// recall learns the versions that are in the folder.
func (b *sheetBook) recall(f *Folder) {
	for _, s := range f.Sheets {
		if s.Version > b.version[s.First] {
			b.version[s.First] = s.Version
			b.latest[s.First] = sheetFile{name: s.Name, text: s.Text}
		}
		b.vouched[s.Name] = s.Stated == "" || s.Sum == s.Stated // the first are said now
	}
}

func recovered(f *Folder) (*Recovered, error) {
	rec := &Recovered{Takes: f.Takes, Events: f.Events, LastTake: f.lastTake}
	last, ok, err := f.lastReading()
	if err != nil {
		return nil, err
	}
	if ok {
		rec.LastSeq, rec.Last = last.Seq, last.At
	}
	for i := range f.Events {
		rec.LastSeq = max(rec.LastSeq, f.Events[i].Seq)
		rec.Last.Wall = max(rec.Last.Wall, f.Events[i].At.Wall)
	}
	for i := range f.Takes {
		rec.LastSeq = max(rec.LastSeq, f.Takes[i].LastSeq)
	}
	rec.Place, rec.Measured, ok = lastPlace(f)
	if !ok && last.Tag != nil {
		rec.Place = *last.Tag
	}
	rec.New = rec.LastSeq == 0 && len(f.Takes) == 0 && len(f.Events) == 0
	return rec, nil
}

// lastPlace is where the job was when its log ended: where the last move led,
// or where the last take was made, and then whether no move came behind it. A
// reading's tag proves less: a reading that came with the one that completed a
// take is tagged with the next place before the take is there.
func lastPlace(f *Folder) (place ledger.Tag, measured, some bool) {
	moved := uint64(0)
	for i := range f.Events {
		switch e := &f.Events[i]; e.Kind {
		case ledger.EvStage:
			place.Stage, moved = e.Text, e.Seq
		case ledger.EvRedo, ledger.EvBack:
			moved = e.Seq
		case ledger.EvPosition:
			t, _ := ledger.ParsePlace(e.Text) // or none: all is measured
			t.Stage = place.Stage
			place, moved, some = t, e.Seq, true
		}
	}
	for i := len(f.Takes) - 1; i >= 0; i-- {
		t := &f.Takes[i]
		if t.Method == method.Derived {
			continue // it follows from others and was nobody's place
		}
		if t.LastSeq > moved {
			return t.Tag, true, true
		}
		break
	}
	return place, false, some
}

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
	if err := s.f.Truncate(end); err != nil {
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
