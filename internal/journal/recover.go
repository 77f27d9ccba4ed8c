package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

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
