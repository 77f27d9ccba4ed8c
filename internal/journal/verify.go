package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

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
// for a folder that cannot be read at all.
func Verify(dir string) (Report, error) {
	f, err := Load(dir)
	if err != nil {
		return Report{}, err
	}
	return f.verify(dir), nil
}

func (f *Folder) verify(dir string) Report {
	v := &verifier{f: f, found: map[string]map[ledger.Chain]int{}, report: Report{Dir: dir, Number: f.Number, Holds: true, Notes: []string{}}}
	v.readAnchors()
	for _, file := range ledger.Files {
		v.log(file)
	}
	v.anchorsFit()
	v.sheets()
	v.torn()
	v.others()
	v.ending()
	for _, x := range v.report.Files {
		v.report.Holds = v.report.Holds && x.Holds
	}
	return v.report
}

// verifier gathers what the lines of the report need of each other.
type verifier struct {
	f       *Folder
	report  Report
	anchors []anchor
	found   map[string]map[ledger.Chain]int // rows behind an anchored chain, by file
	full    map[string]bool                 // parts that ended whole
	rows    map[string]int
	damage  map[string][]string
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
	chain := ledger.Seed(p.name, v.f.Number, file.Header())
	v.see(p.name, chain, 0)
	last := i == len(parts)-1
	over := !last && p.end == chain // behind the end of an older part
	var behind [][]byte
	var torn []byte
	end := chain
	lines := newLineReader(r)
	defer lines.done()
	rows, counted := 0, 0
	for {
		line, err := lines.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			v.bad(p.name, "line %d: cannot be read: %v", lines.line+1, bare(err))
			break
		}
		if lines.torn {
			if over && lines.line > 1 {
				torn = slices.Clone(line) // an unfinished write
				break
			}
			if over && strings.HasPrefix(file.Header(), string(line)) {
				break // an unfinished header
			}
			v.bad(p.name, "line %d: torn, %d bytes without a line end (the next start of the job cuts and keeps them)", lines.line, len(line))
			break
		}
		if lines.line == 1 {
			if string(line) != file.Header() {
				v.bad(p.name, "line 1: found %.60q, expected the header", line)
			}
			continue
		}
		row, err := cutRow(file, line)
		if err != nil {
			v.bad(p.name, "line %d: %v", lines.line, err)
			continue
		}
		rows++
		if want := chain.Next(row.payload); want != row.chain {
			v.bad(p.name, "line %d: the chain is %s, expected %s: this row or the one before it was changed, moved, added or removed", lines.line, row.chain, want)
		}
		chain = row.chain
		v.see(p.name, chain, rows)
		if over {
			end = chain
			behind = append(behind, slices.Clone(row.payload))
			continue
		}
		counted++
		if err := order.check(row.payload); err != nil {
			v.bad(p.name, "line %d: %v", lines.line, err)
		}
		over = !last && chain == p.end
		end = chain
	}
	if lines.line == 0 && !(over && !last) {
		v.bad(p.name, "empty: not even the header")
	}
	if !last && !over {
		v.bad(p.name, "its last row that counts is not there")
	}
	v.rows[p.name] = rows
	text := fmt.Sprintf("%d rows, order and chain hold", counted)
	switch {
	case len(behind) == 0 && len(torn) == 0:
	case v.full[p.name]:
		v.bad(p.name, "something stands behind its last row, and it ended whole")
	default:
		v.repeated(file, parts, i, behind, torn, end)
		text += fmt.Sprintf("; what stands behind them (%d rows) stands again in %s", len(behind), parts[i+1].name)
	}
	v.report.Files = append(v.report.Files, FileReport{Name: p.name, Rows: counted, Text: text})
	if !last && !p.stated {
		v.report.Notes = append(v.report.Notes, p.name+" goes on in "+parts[i+1].name+", which no anchor states yet")
	}
}

// repeated checks that what stands behind a part's end stands again in the
// next ones: whole rows, and an unfinished one whose chain would follow from c.
func (v *verifier) repeated(file ledger.File, parts []part, i int, behind [][]byte, torn []byte, c ledger.Chain) {
	name := parts[i].name
	for _, next := range parts[i+1:] {
		rows := v.f.rows(file, next.name)
		for _, row := range rows {
			switch {
			case len(behind) > 0 && string(row.payload) == string(behind[0]):
				behind = behind[1:]
			case len(behind) > 0:
				v.bad(name, "a row behind its end does not stand in %s: it was changed or added", next.name)
				return
			default:
				whole := slices.Concat(row.payload, []byte{','}, []byte(c.Next(row.payload).String()))
				if !bytes.HasPrefix(whole, torn) {
					v.bad(name, "what stands behind its end does not stand in %s: it was changed or added", next.name)
				}
				return
			}
		}
	}
	if len(behind) > 0 || len(torn) > 0 {
		v.bad(name, "what stands behind its end (%d rows) stands in no later part", len(behind))
	}
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

// sheets checks every version against the sum that its event states.
func (v *verifier) sheets() {
	stated := map[string]bool{}
	for _, s := range v.f.Sheets {
		x := FileReport{Name: s.Name, Holds: s.Sum == s.Stated, Text: "as used: its sum is the one its event states"}
		stated[s.Name] = true
		switch {
		case s.Stated == "":
			x.Text = "no event states its sum"
		case !x.Holds:
			x.Text = "changed: its SHA-256 is " + s.Sum + ", its event states " + s.Stated
		}
		v.report.Files = append(v.report.Files, x)
	}
	for _, e := range v.f.Events {
		if name, _, ok := parseSheetText(e.Text); ok && (e.Kind == ledger.EvSheet || e.Kind == ledger.EvBench) && !stated[name] {
			stated[name] = true
			v.report.Files = append(v.report.Files, FileReport{Name: name, Text: "missing: an event says that it was used"})
		}
	}
}

// torn checks the tails that were cut after a crash.
func (v *verifier) torn() {
	stated := map[string]string{}
	for _, e := range v.f.Events {
		if e.Kind != ledger.EvRepaired {
			continue
		}
		if _, kept, ok := strings.Cut(e.Text, "they are kept: "); ok {
			if name, sum, ok := parseSheetText(kept); ok {
				stated[name] = sum
			}
		}
	}
	for _, name := range v.f.names {
		if !strings.Contains(name, ".torn-") {
			continue
		}
		sum, ok := stated[name]
		delete(stated, name)
		x := FileReport{Name: name, Text: "a torn tail, kept as it was"}
		if text, err := readAll(v.f.fsys, v.f.Dir+"/"+name); err != nil {
			x.Text = "cannot be read: " + bare(err).Error()
		} else if _, have, _ := parseSheetText(sheetText(name, text)); !ok {
			// A crash between keeping the tail and cutting it leaves one too many.
			x.Holds = true
			v.report.Notes = append(v.report.Notes, name+": no event tells of this torn tail")
		} else if x.Holds = have == sum; !x.Holds {
			x.Text = "changed: its SHA-256 is " + have + ", its event states " + sum
		}
		v.report.Files = append(v.report.Files, x)
	}
	for name := range stated {
		v.report.Files = append(v.report.Files, FileReport{Name: name, Text: "missing: an event says that it was kept"})
	}
}

// others names what stands in the folder and is no part of the log.
func (v *verifier) others() {
	known := map[string]bool{lockName: true, driverFolder: true, tapeFolder: true}
	for _, x := range v.report.Files {
		known[x.Name] = true
	}
	for _, name := range v.f.names {
		if !known[name] {
			v.report.Notes = append(v.report.Notes, name+" is no part of the log")
		}
	}
}

// ending checks how the log ends: in order, with an anchor behind the last row
// of every file, or without (the daemon runs, or was killed).
func (v *verifier) ending() {
	n := len(v.f.Events)
	if n == 0 || v.f.Events[n-1].Kind != ledger.EvAnchor || len(v.anchors) == 0 || v.anchors[len(v.anchors)-1].why != "stop" {
		if n > 0 && v.f.Events[n-1].Kind == ledger.EvStop {
			v.fail(v.lastName(ledger.EventsFile), "the anchor behind the last stop is missing")
			return
		}
		v.report.Notes = append(v.report.Notes, "the log does not end with a stop: the daemon is running, or was killed; rows behind the last anchor cannot be counted")
		return
	}
	for _, x := range v.anchors[len(v.anchors)-1].entries {
		behind := v.rows[x.file] - v.found[x.file][x.chain]
		if x.file == v.lastName(ledger.EventsFile) {
			behind-- // the anchor itself
		}
		if behind > 0 && v.isLast(x.file) {
			v.fail(x.file, fmt.Sprintf("%d rows were added behind the last stop", behind))
		}
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

// rowOrder checks that rows can be read and come in order.
type rowOrder struct {
	file   ledger.File
	last   uint64
	some   bool
	fields []string
}

func (o *rowOrder) check(payload []byte) (err error) {
	if o.fields, err = ledger.SplitRow(payload, o.fields); err != nil {
		return err
	}
	var n uint64
	strict := false
	switch o.file.Name {
	case ledger.ReadingsFile.Name:
		var r ledger.Reading
		r, err = ledger.ParseReading(o.fields)
		n, strict = r.Seq, true
	case ledger.TakesFile.Name:
		var t ledger.Take
		t, err = ledger.ParseTake(o.fields)
		n, strict = t.Take, true
	case ledger.RestsFile.Name:
		var r ledger.Rest
		r, err = ledger.ParseRest(o.fields)
		n = r.Take
	case ledger.BudgetFile.Name:
		n, _, err = ledger.ParseBudget(o.fields)
	case ledger.ExtrasFile.Name:
		n, _, err = ledger.ParseExtra(o.fields)
	case ledger.EventsFile.Name:
		_, err = ledger.ParseEvent(o.fields)
		return err
	}
	if err != nil {
		return err
	}
	if o.some && (n < o.last || strict && n == o.last) {
		return fmt.Errorf("%s %d comes behind %d: out of order", o.file.Columns[0], n, o.last)
	}
	o.last, o.some = n, true
	return nil
}
