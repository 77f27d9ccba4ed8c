package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"thouwright/internal/ledger"
)

// Sheets is what a job is measured by, as used: the texts of the job sheet
// (nil for a loose job), of the bench file and of the drivers by name.
type Sheets struct {
	Job, Bench []byte
	Drivers    map[string][]byte
}

// sheetFile is a version of one of them, to be kept in the folder.
type sheetFile struct {
	name string // in the folder: job.2.toml, drivers/signed-decimal.toml
	text []byte
	kind ledger.EventKind
	at   ledger.Stamp
}

// sheetBook knows the versions that are in the folder. It is guarded by the
// journal's mutex.
type sheetBook struct {
	latest  map[string]sheetFile // by first name
	version map[string]int
	vouched map[string]bool // an event carries this version's sum
}

func (b *sheetBook) init() {
	b.latest, b.version, b.vouched = map[string]sheetFile{}, map[string]int{}, map[string]bool{}
}

// driverFolder holds the drivers used.
const driverFolder = "drivers"

// driverFile is a driver's file name in the folder.
func driverFile(name string) string {
	clean := strings.Map(func(r rune) rune {
		if r < 128 && (r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_", r)) {
			return r
		}
		return '_'
	}, strings.TrimSuffix(name, ".toml"))
	return driverFolder + "/" + clean + ".toml"
}

// Sheet keeps what the job is measured by from here on and returns the version
// of the job sheet (0 without one). A text that is already there makes no new
// version; one that was used before and comes back does. The files are written
// before any row that follows, and a sheet or bench event carries each one's
// SHA-256.
func (j *Journal) Sheet(at ledger.Stamp, s Sheets) int {
	j.mu.Lock()
	defer j.mu.Unlock()
	var files []sheetFile
	keep := func(name string, text []byte, kind ledger.EventKind) {
		if text == nil {
			return
		}
		b := &j.sheets
		have, ok := b.latest[name]
		if ok && string(have.text) == string(text) && b.vouched[have.name] {
			return
		}
		if !ok || string(have.text) != string(text) {
			b.version[name]++
			have = sheetFile{name: partName(name, b.version[name]), text: slices.Clone(text)}
		}
		have.kind, have.at = kind, at
		b.latest[name] = have
		b.vouched[have.name] = true
		files = append(files, have)
	}
	keep("job.toml", s.Job, ledger.EvSheet)
	keep("bench.toml", s.Bench, ledger.EvBench)
	for _, name := range slices.Sorted(maps.Keys(s.Drivers)) {
		keep(driverFile(name), s.Drivers[name], ledger.EvBench)
	}
	if len(files) > 0 {
		j.put(message{files: files}, 0)
	}
	if s.Job == nil {
		return 0
	}
	return j.sheets.version["job.toml"]
}

// sheetText is the text of a sheet event: the file and its SHA-256.
func sheetText(name string, text []byte) string {
	sum := sha256.Sum256(text)
	return name + " sha256=" + hex.EncodeToString(sum[:])
}

// parseSheetText reads sheetText.
func parseSheetText(text string) (name, sum string, ok bool) {
	name, sum, ok = strings.Cut(text, " sha256=")
	return name, sum, ok && len(sum) == 2*sha256.Size
}

// lateText stands before a sheet's name and sum in the event that a later run
// writes for one that was killed between the two.
const lateText = "used by a run that ended before it could say so: "

func (w *writer) addFiles(files []sheetFile) {
	for _, f := range files {
		w.see(f.at)
		w.sayRepairs()
		w.files = append(w.files, f)
		w.say(f.kind, sheetText(f.name, f.text))
	}
	w.kept = append(w.kept, files...)
}

// unfinished ends the name of a file that is being written.
const unfinished = ".tmp"

// writeFiles writes the sheets that are due, each whole or not at all.
func (w *writer) writeFiles() error {
	for len(w.files) > 0 {
		if err := w.writeFile(w.files[0]); err != nil {
			return fmt.Errorf("%s cannot be written: %w", w.files[0].name, bare(err))
		}
		w.files = w.files[1:]
	}
	return nil
}

func (w *writer) writeFile(s sheetFile) error {
	path := filepath.Join(w.j.dir, filepath.FromSlash(s.name))
	dir := filepath.Dir(path)
	if info, err := w.fsys.Lstat(path); err == nil {
		if !info.Mode().IsRegular() {
			return notRegular(path, info.Mode())
		}
		// The same text may be there since a crash or a failed sync; it is
		// written again, because nobody can say whether it is on disk.
		if have, err := readAll(w.fsys, path); err != nil || string(have) != string(s.text) {
			return errors.Join(err, fmt.Errorf("%s is there with other content; move it away", s.name))
		}
	}
	if dir != w.j.dir {
		if err := w.fsys.MkdirAll(dir); err != nil {
			return err
		}
		if info, err := w.fsys.Lstat(dir); err != nil || !info.IsDir() {
			return fmt.Errorf("%s is no folder: move it away", dir)
		}
	}
	tmp := path + unfinished
	if err := w.fsys.Remove(tmp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	f, err := w.fsys.Open(tmp, os.O_WRONLY|os.O_CREATE|os.O_EXCL)
	if err != nil {
		return err
	}
	err = writeWhole(f, s.text)
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = w.fsys.Rename(tmp, path)
	}
	if err == nil {
		err = w.fsys.SyncDir(dir)
	}
	if err == nil && dir != w.j.dir {
		err = w.fsys.SyncDir(w.j.dir)
	}
	return err
}

// readAll reads a file of the folder.
func readAll(fsys FS, path string) ([]byte, error) {
	f, err := fsys.Open(path, os.O_RDONLY)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	return io.ReadAll(io.NewSectionReader(f, 0, info.Size()))
}
