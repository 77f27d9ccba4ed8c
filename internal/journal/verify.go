package journal

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thouwright/internal/ledger"
)

// Report is what verify says of a job's folder.
type Report struct {
	Dir    string       `json:"dir"`
	Number string       `json:"number"`
	Holds  bool         `json:"holds"` // every line holds
	Files  []FileReport `json:"files"`
	Notes  []string     `json:"notes"` // what a reader should know and is no damage
}

// FileReport is one line of it.
type FileReport struct {
	Name  string `json:"name"`
	Holds bool   `json:"holds"`
	Rows  int    `json:"rows"`
	Text  string `json:"text"` // what holds or what does not, and where
}

// Verify recomputes every chain of a job's folder and compares the files with
// each other: anchors, parts, torn tails, sheets and their sums. The error is
// for a folder that cannot be read at all. Further checks, such as playing the
// tapes again, add their lines.
func Verify(dir string, further ...func(*Folder) []FileReport) (Report, error) {
	for try := 0; ; try++ {
		before := sizes(dir)
		f, err := Load(dir)
		if err != nil {
			return Report{}, err
		}
		r := f.verify(dir, further...)
		if r.Holds || try == liveTries {
			return r, nil
		}
		// A folder that is being written can be caught between two files, or in
		// the middle of a row.
		time.Sleep(livePause)
		if maps.Equal(before, sizes(dir)) {
			return r, nil
		}
	}
}

// liveTries is how often a folder that changes meanwhile is looked at again.
const liveTries = 10

// livePause is how long an unfinished write may take to be finished.
const livePause = 60 * time.Millisecond

// sizes is how long every file of a folder is.
func sizes(dir string) map[string]int64 {
	m := map[string]int64{}
	_ = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			if info, err := d.Info(); err == nil {
				m[path] = info.Size()
			}
		}
		return nil
	})
	return m
}

func (f *Folder) verify(dir string, further ...func(*Folder) []FileReport) Report {
	v := &verifier{f: f, found: map[string]map[ledger.Chain]int{}, report: Report{Dir: dir, Number: f.Number, Holds: true, Notes: []string{}}}
	v.readAnchors()
	for _, file := range ledger.Files {
		v.log(file)
	}
	v.anchorsFit()
	v.sheets()
	v.photos()
	v.torn()
	v.tapes()
	v.others()
	v.ending()
	for _, check := range further {
		v.report.Files = append(v.report.Files, check(f)...)
	}
	for _, x := range v.report.Files {
		v.report.Holds = v.report.Holds && x.Holds
	}
	return v.report
}

// verifier gathers what the lines of the report need of each other.
type verifier struct {
	f        *Folder
	report   Report
	anchors  []anchor
	found    map[string]map[ledger.Chain]int // rows behind an anchored chain, by file
	full     map[string]bool                 // parts that ended whole
	tapeSums map[string]ledger.Chain
	rows     map[string]int
	damage   map[string][]string
}

type anchor struct {
	why     string
	entries []anchorEntry
}

func (v *verifier) bad(file, format string, args ...any) {
	v.damage[file] = append(v.damage[file], fmt.Sprintf(format, args...))
}

// readAnchors lists the anchors and the chains to look for.
func (v *verifier) readAnchors() {
	v.tapeSums = map[string]ledger.Chain{}
	v.full, v.rows, v.damage = map[string]bool{}, map[string]int{}, map[string][]string{}
	for i := range v.f.Events {
		e := &v.f.Events[i]
		if part, ok := parseFull(e); ok {
			v.full[part] = true
		}
		if e.Kind != ledger.EvAnchor {
			continue
		}
		why, entries, ok := parseAnchor(e.Text)
		if !ok {
			v.bad(ledger.EventsFile.Name, "an anchor cannot be read: %.80q", e.Text)
			continue
		}
		v.anchors = append(v.anchors, anchor{why, entries})
		for _, x := range entries {
			if strings.HasPrefix(x.file, tapeFolder+"/") {
				v.tapeSums[x.file] = x.chain
				continue
			}
			if v.found[x.file] == nil {
				v.found[x.file] = map[ledger.Chain]int{}
			}
			v.found[x.file][x.chain] = -1
		}
	}
}

// log checks one log over its parts.
func (v *verifier) log(file ledger.File) {
	parts := v.f.parts[file.Name]
	if len(parts) == 0 {
		v.report.Files = append(v.report.Files, FileReport{Name: file.Name, Text: "missing"})
		return
	}
	order := &rowOrder{file: file}
	for i, p := range parts {
		if p.number != i+1 {
			v.bad(p.name, "%s is missing before it", partName(file.Name, i+1))
		}
		v.part(file, parts, i, order)
	}
}

// part checks one file: header, whole rows, chain, content, and what stands
// behind its end.
func (v *verifier) part(file ledger.File, parts []part, i int, order *rowOrder) {
	p := parts[i]
	r, err := v.f.open(p.name)
	if err != nil {
		v.bad(p.name, "cannot be read: %v", bare(err))
		return
	}
	defer r.Close()
	lines := newLineReader(r)
	defer lines.done()
	chain := ledger.Seed(p.name, v.f.Number, file.Header())
	v.see(p.name, chain, 0)
	last := i == len(parts)-1
	over := !last && p.end == chain // behind the end of an older part
	var behind leftOver
	counted := 0
	for {
		line, err := lines.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			v.bad(p.name, "line %d: cannot be read: %v", lines.line+1, bare(err))
			break
		}
		if lines.line == 1 && over && lines.torn {
			break // an unfinished header: not even that was ever synced
		}
		if lines.line == 1 {
			if string(line) != file.Header() {
				v.bad(p.name, "line 1: found %.60q, expected the header", line)
			}
			continue
		}
		if over {
			behind.add(file, &chain, line, lines.torn)
			continue
		}
		if lines.torn {
			v.bad(p.name, "line %d: torn, %d bytes without a line end (the next start of the job cuts and keeps them)", lines.line, len(line))
			break
		}
		row, err := cutRow(file, line)
		if err != nil {
			v.bad(p.name, "line %d: %v", lines.line, err)
			continue
		}
		if want := chain.Next(row.payload); want != row.chain {
			v.bad(p.name, "line %d: the chain is %s, expected %s: this row or the one before it was changed, moved, added or removed", lines.line, row.chain, want)
		}
		chain = row.chain
		counted++
		v.see(p.name, chain, counted)
		if err := order.check(row.payload); err != nil {
			v.bad(p.name, "line %d: %v", lines.line, err)
		}
		over = !last && chain == p.end
	}
	if lines.line == 0 && !over {
		v.bad(p.name, "empty: not even the header (the next start of the job mends it)")
	}
	if !last && !over {
		v.bad(p.name, "its last row that counts is not there")
	}
	v.rows[p.name] = counted
	text := fmt.Sprintf("%d rows, order and chain hold", counted)
	if more := v.behind(file, parts, i, behind); more != "" {
		text += "; " + more
	}
	v.report.Files = append(v.report.Files, FileReport{Name: p.name, Rows: counted, Text: text})
	if !last && !p.stated {
		v.report.Notes = append(v.report.Notes, p.name+" goes on in "+parts[i+1].name+", which no anchor states yet")
	}
}

// leftOver is what stands behind the end of a part that was given up: rows
// that were written and never known to be on disk, and what a power cut made
// of the last of them.
type leftOver struct {
	rows [][]byte
	junk int // bytes that are no row, or stand behind such
}

func (l *leftOver) add(file ledger.File, c *ledger.Chain, line []byte, torn bool) {
	row, err := cutRow(file, line)
	if err != nil || torn || l.junk > 0 || c.Next(row.payload) != row.chain {
		l.junk += len(line) + 1
		return
	}
	*c = row.chain
	l.rows = append(l.rows, slices.Clone(row.payload))
}

// behind checks that rows behind a part's end stand again, the same, in the
// next ones, and says what is there.
func (v *verifier) behind(file ledger.File, parts []part, i int, left leftOver) string {
	name := parts[i].name
	if len(left.rows) == 0 && left.junk == 0 {
		return ""
	}
	if v.full[name] {
		v.bad(name, "something stands behind its last row, and it ended whole")
		return ""
	}
	rest := left.rows
	for _, next := range parts[i+1:] {
		for _, row := range v.f.countedRows(file, next) {
			if len(rest) == 0 {
				break
			}
			if string(row.payload) != string(rest[0]) {
				v.bad(name, "a row behind its end does not stand in %s: it was changed or added", next.name)
				return ""
			}
			rest = rest[1:]
		}
	}
	if len(rest) > 0 {
		v.bad(name, "%d rows behind its end stand in no later part", len(rest))
	}
	text := fmt.Sprintf("%d rows behind them stand again in %s", len(left.rows), parts[i+1].name)
	if left.junk > 0 {
		text += fmt.Sprintf(", %d bytes were never a whole row", left.junk)
	}
	return text
}

// see notes the place of a chain that an anchor names.
func (v *verifier) see(file string, c ledger.Chain, rows int) {
	if at, ok := v.found[file][c]; ok && at < 0 {
		v.found[file][c] = rows
	}
}

// anchorsFit checks that every anchored chain is there, and in order.
func (v *verifier) anchorsFit() {
	at := map[string]int{}
	missing := map[string]bool{}
	for _, a := range v.anchors {
		for _, x := range a.entries {
			if v.found[x.file] == nil {
				continue // a tape
			}
			n := v.found[x.file][x.chain]
			if n < 0 {
				if !missing[x.file] {
					v.bad(x.file, "the row that the anchor of %q names (%s) is not there", a.why, x.chain)
				}
				missing[x.file] = true
				continue
			}
			if n < at[x.file] {
				v.bad(x.file, "the anchor of %q names a row before the one an earlier anchor names", a.why)
			}
			at[x.file] = n
		}
	}
	for i := range v.report.Files {
		x := &v.report.Files[i]
		x.Holds = x.Text != "missing" && len(v.damage[x.Name]) == 0
		if d := v.damage[x.Name]; len(d) > 0 {
			x.Text = d[0]
			if len(d) > 1 {
				x.Text += fmt.Sprintf(" (and %d more)", len(d)-1)
			}
		}
		delete(v.damage, x.Name)
	}
	for name, d := range v.damage { // files that only an anchor knows, or that cannot be opened
		v.report.Files = append(v.report.Files, FileReport{Name: name, Text: d[0]})
	}
}

func (v *verifier) lastName(file ledger.File) string {
	parts := v.f.parts[file.Name]
	if len(parts) == 0 {
		return file.Name
	}
	return parts[len(parts)-1].name
}

func (v *verifier) isLast(name string) bool {
	for _, file := range ledger.Files {
		if v.lastName(file) == name {
			return true
		}
	}
	return false
}

// fail turns a file's line into one that does not hold.
func (v *verifier) fail(name, text string) {
	for i := range v.report.Files {
		if x := &v.report.Files[i]; x.Name == name && x.Holds {
			x.Holds, x.Text = false, text
			return
		}
	}
}
