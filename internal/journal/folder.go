package journal

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"thouwright/internal/ledger"
)

// Folder is a job's folder as read: everything but the readings, which stream.
type Folder struct {
	Dir    string
	Number string
	Takes  []ledger.Take // with rests, budget and extras, in order
	Events []ledger.Event
	Sheets []SheetVersion // job sheet, bench and drivers, every version
	Tapes  []string       // file names in tapes/
	// Problems are rows that could not be read, one line each; verify says
	// more.
	Problems []string

	fsys       FS
	names      []string
	parts      map[string][]part
	stated     map[string]ledger.Chain // where anchors say that older parts end
	unreadable error                   // the first file that could not be read
	lastTake   uint64                  // over all files: an orphan's number is used up too
}

// SheetVersion is a version of the job sheet, the bench file or a driver.
type SheetVersion struct {
	Name    string // in the folder: job.2.toml
	First   string // of its first version: job.toml
	Version int
	Text    []byte
	Sum     string // SHA-256 of Text, hex
	Stated  string // the sum its event states; "" for none
}

// part is one file of a log.
type part struct {
	name   string
	number int
	end    ledger.Chain // of the last row that counts; not for the last part
	stated bool         // an anchor says so
	again  bool         // rows behind end stand again in the next part
}

// Job is the text of the job sheet of a version (0: the latest), nil for none.
func (f *Folder) Job(version int) []byte { return f.sheet("job.toml", version) }

// Bench is the latest bench file, nil for none.
func (f *Folder) Bench() []byte { return f.sheet("bench.toml", 0) }

// lastStated is the highest version of a sheet that an event states, 0 for none.
func (f *Folder) lastStated(first string) (version int) {
	for _, s := range f.Sheets {
		if s.First == first && s.Stated != "" {
			version = max(version, s.Version)
		}
	}
	return version
}

func (f *Folder) sheet(first string, version int) []byte {
	var text []byte
	for _, s := range f.Sheets {
		if s.First == first && (version == 0 || s.Version == version) {
			text = s.Text
		}
	}
	return text
}

// Load reads a job's folder. Rows that cannot be read become Problems; only a
// folder that is none is an error.
func Load(dir string) (*Folder, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	info, err := os.Lstat(abs)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", dir, bare(err))
	}
	if !info.IsDir() {
		return nil, fmt.Errorf("%s is no folder: expected a job's folder", dir)
	}
	return loadFolder(osFS{}, abs, "")
}

// loadFolder reads a folder; an empty number is found out.
func loadFolder(fsys FS, dir, number string) (*Folder, error) {
	f := &Folder{Dir: dir, Number: number, fsys: fsys, parts: map[string][]part{}}
	var err error
	if f.names, err = namesIn(fsys, dir); err != nil {
		return nil, err
	}
	if len(partsOf(ledger.ReadingsFile.Name, f.names)) == 0 && len(partsOf(ledger.EventsFile.Name, f.names)) == 0 {
		return nil, fmt.Errorf("%s is no job's folder: there is no readings.csv in it", dir)
	}
	if err := f.readSheets(); err != nil {
		return nil, err
	}
	if f.Number == "" {
		f.Number = f.findNumber()
	}
	for _, file := range ledger.Files {
		for _, n := range partsOf(file.Name, f.names) {
			f.parts[file.Name] = append(f.parts[file.Name], part{name: partName(file.Name, n), number: n})
		}
	}
	f.readEvents()
	f.readTakes()
	f.setReadingsEnds()
	return f, nil
}

// numberLine finds the number in a job sheet without reading the sheet: the
// journal does not know what a sheet holds.
var numberLine = regexp.MustCompile(`(?m)^\s*number\s*=\s*["']([^"']*)["']`)

// findNumber is the job number: the folder's name, unless a chain says that
// the folder was renamed and the job sheet knows better.
func (f *Folder) findNumber() string {
	number := filepath.Base(f.Dir)
	m := numberLine.FindSubmatch(f.Job(1))
	if m == nil || string(m[1]) == number || f.firstRowFits(number) {
		return number
	}
	if other := string(m[1]); f.firstRowFits(other) {
		return other
	}
	return number
}

// firstRowFits tells whether the first event's chain follows from a number.
func (f *Folder) firstRowFits(number string) bool {
	file := ledger.EventsFile
	r, err := f.open(file.Name)
	if err != nil {
		return false
	}
	defer r.Close()
	lines := newLineReader(r)
	defer lines.done()
	if _, err := lines.next(); err != nil {
		return false
	}
	line, err := lines.next()
	if err != nil {
		return false
	}
	row, err := cutRow(file, line)
	return err == nil && ledger.Seed(file.Name, number, file.Header()).Next(row.payload) == row.chain
}

// reader is an open file of the folder, as long as it was when opened.
type reader struct {
	*io.SectionReader
	io.Closer
}

// open opens a file of the folder for reading.
func (f *Folder) open(name string) (*reader, error) {
	file, err := f.fsys.Open(filepath.Join(f.Dir, filepath.FromSlash(name)), os.O_RDONLY)
	if err != nil {
		return nil, err
	}
	info, err := file.Stat()
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return &reader{io.NewSectionReader(file, 0, info.Size()), file}, nil
}

// unread notes that a file could not be read. A reader goes on without it; a
// journal must not, or it would count takes anew.
func (f *Folder) unread(name string, err error) {
	f.problem("%s: %v", name, bare(err))
	if f.unreadable == nil {
		f.unreadable = fmt.Errorf("%s: %w", name, bare(err))
	}
}

func (f *Folder) problem(format string, args ...any) {
	const most = 100
	if len(f.Problems) < most {
		f.Problems = append(f.Problems, fmt.Sprintf(format, args...))
	}
}

// rows reads all whole rows of a part.
func (f *Folder) rows(file ledger.File, name string) (rows []row) {
	r, err := f.open(name)
	if err != nil {
		f.unread(name, err)
		return nil
	}
	defer r.Close()
	lines := newLineReader(r)
	defer lines.done()
	for {
		line, err := lines.next()
		if err != nil {
			if !errors.Is(err, io.EOF) {
				f.unread(name, err)
			}
			return rows
		}
		if lines.line == 1 && !lines.torn {
			if string(line) != file.Header() {
				f.problem("%s:1: found %.60q, expected the header", name, line)
			}
			continue
		}
		row, err := cutRow(file, line)
		if err != nil || lines.torn {
			if !lines.torn {
				f.problem("%s:%d: %v", name, lines.line, err)
			}
			continue
		}
		row.payload = slices.Clone(row.payload)
		rows = append(rows, row)
	}
}

// logRows reads a log over all its parts, each row once.
func (f *Folder) logRows(file ledger.File, stated map[string]ledger.Chain) (all []row) {
	parts := f.parts[file.Name]
	lists := make([][]row, len(parts))
	for i := range parts {
		lists[i] = f.rows(file, parts[i].name)
	}
	var next []row
	for i := len(parts) - 1; i >= 0; i-- {
		p := &parts[i]
		seed := ledger.Seed(p.name, f.Number, file.Header())
		n := len(lists[i])
		if i < len(parts)-1 {
			c, ok := stated[p.name]
			k := endRow(lists[i], seed, c)
			if ok && k >= 0 {
				n, p.stated = k, true
			} else {
				n = overlap(lists[i], next)
			}
		}
		p.again = n < len(lists[i])
		lists[i] = lists[i][:n]
		p.end = seed
		if n > 0 {
			p.end = lists[i][n-1].chain
			next = lists[i]
		}
	}
	for _, l := range lists {
		all = append(all, l...)
	}
	return all
}

// countedRows reads the rows of a part up to its end.
func (f *Folder) countedRows(file ledger.File, p part) []row {
	rows := f.rows(file, p.name)
	if p.end != (ledger.Chain{}) {
		if n := endRow(rows, ledger.Seed(p.name, f.Number, file.Header()), p.end); n >= 0 {
			rows = rows[:n]
		}
	}
	return rows
}

// endRow is how many rows stand before the end c; -1 where no row has it.
func endRow(rows []row, seed, c ledger.Chain) int {
	if c == seed {
		return 0
	}
	for i := len(rows) - 1; i >= 0; i-- {
		if rows[i].chain == c {
			return i + 1
		}
	}
	return -1
}

// overlap is how many of rows come before those that next holds again.
func overlap(rows, next []row) int {
	if len(next) == 0 {
		return len(rows)
	}
	for i := range rows {
		if len(rows)-i > len(next) || string(rows[i].payload) != string(next[0].payload) {
			continue
		}
		same := true
		for k := i; k < len(rows) && same; k++ {
			same = string(rows[k].payload) == string(next[k-i].payload)
		}
		if same {
			return i
		}
	}
	return len(rows)
}

// readEvents reads events.csv; its anchors say where every file's parts end.
func (f *Folder) readEvents() {
	file := ledger.EventsFile
	stated := map[string]ledger.Chain{}
	var fields []string
	for _, p := range f.parts[file.Name] {
		for _, r := range f.rows(file, p.name) {
			if e, err := parseEvent(r.payload, &fields); err == nil && e.Kind == ledger.EvAnchor {
				_, entries, _ := parseAnchor(e.Text)
				for i, x := range entries {
					if i+1 < len(entries) && logOf(entries[i+1].file) == logOf(x.file) {
						stated[x.file] = x.chain // a later part was there: this one is over
					}
				}
			}
		}
	}
	f.Problems = nil // the same ones come again below
	for _, r := range f.logRows(file, stated) {
		e, err := parseEvent(r.payload, &fields)
		if err != nil {
			f.problem("events.csv: %v", err)
			continue
		}
		f.Events = append(f.Events, e)
		if e.Kind == ledger.EvSheet || e.Kind == ledger.EvBench || e.Kind == ledger.EvRepaired {
			if name, sum, ok := parseSheetText(strings.TrimPrefix(e.Text, lateText)); ok {
				for i := range f.Sheets {
					if f.Sheets[i].Name == name {
						f.Sheets[i].Stated = sum
					}
				}
			}
		}
	}
	f.stated = stated
}

func parseEvent(payload []byte, fields *[]string) (e ledger.Event, err error) {
	if *fields, err = ledger.SplitRow(payload, *fields); err != nil {
		return e, err
	}
	return ledger.ParseEvent(*fields)
}
