package journal

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"thouwright/internal/ledger"
)

// readTakes reads the takes with what they rest on. Rests, budget and extras
// of a take that has no row in takes.csv were never committed (the run was
// killed before); they are left out, and their number stays used up.
func (f *Folder) readTakes() {
	var fields []string
	each := func(file ledger.File, use func(fields []string) (uint64, error)) {
		for _, r := range f.logRows(file, f.stated) {
			var err error
			var take uint64
			if fields, err = ledger.SplitRow(r.payload, fields); err == nil {
				take, err = use(fields)
			}
			if err != nil {
				f.problem("%s: %v", file.Name, err)
				continue
			}
			f.lastTake = max(f.lastTake, take)
		}
	}
	at := map[uint64]int{}
	each(ledger.TakesFile, func(fields []string) (uint64, error) {
		t, err := ledger.ParseTake(fields)
		if err == nil {
			at[t.Take] = len(f.Takes)
			f.Takes = append(f.Takes, t)
		}
		return t.Take, err
	})
	each(ledger.RestsFile, func(fields []string) (uint64, error) {
		r, err := ledger.ParseRest(fields)
		if i, ok := at[r.Take]; ok && err == nil {
			f.Takes[i].Rests = append(f.Takes[i].Rests, r)
		}
		return r.Take, err
	})
	each(ledger.BudgetFile, func(fields []string) (uint64, error) {
		take, l, err := ledger.ParseBudget(fields)
		if i, ok := at[take]; ok && err == nil {
			f.Takes[i].Budget = append(f.Takes[i].Budget, l)
		}
		return take, err
	})
	each(ledger.ExtrasFile, func(fields []string) (uint64, error) {
		take, e, err := ledger.ParseExtra(fields)
		if i, ok := at[take]; ok && err == nil {
			if e.Quantity == ledger.BoundExtra {
				f.Takes[i].Bound = true
			} else {
				f.Takes[i].Extras = append(f.Takes[i].Extras, e)
			}
		}
		return take, err
	})
}

// readSheets reads every version of the job sheet, the bench and the drivers.
func (f *Folder) readSheets() error {
	for _, first := range []string{"job.toml", "bench.toml"} {
		if err := f.readVersions(first, f.names); err != nil {
			return err
		}
	}
	drivers, err := f.folderNames(driverFolder)
	if err != nil {
		return err
	}
	firsts := map[string]bool{}
	for _, name := range drivers {
		if strings.HasSuffix(name, ".toml") {
			stem, _, _ := strings.Cut(name, ".")
			firsts[stem+".toml"] = true
		}
	}
	for first := range firsts {
		if err := f.readVersions(driverFolder+"/"+first, drivers); err != nil {
			return err
		}
	}
	slices.SortFunc(f.Sheets, func(a, b SheetVersion) int {
		return cmp.Or(cmp.Compare(sheetOrder(a.First), sheetOrder(b.First)), cmp.Compare(a.First, b.First), cmp.Compare(a.Version, b.Version))
	})
	if f.Tapes, err = f.folderNames(tapeFolder); err != nil {
		return err
	}
	return nil
}

func sheetOrder(first string) int {
	return slices.Index([]string{"job.toml", "bench.toml"}, first) & 3 // drivers last
}

// folderNames lists a folder inside the job's; none where it is missing or a
// link.
func (f *Folder) folderNames(name string) ([]string, error) {
	path := filepath.Join(f.Dir, name)
	info, err := f.fsys.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		f.problem("%s is no folder", name)
		return nil, nil
	}
	return namesIn(f.fsys, path)
}

// readVersions reads the versions of one sheet; first is its path in the
// folder, names what stands beside it.
func (f *Folder) readVersions(first string, names []string) error {
	base := filepath.Base(first)
	for _, n := range partsOf(base, names) {
		name := strings.TrimSuffix(first, base) + partName(base, n)
		text, err := readAll(f.fsys, filepath.Join(f.Dir, filepath.FromSlash(name)))
		if err != nil {
			f.unread(name, err)
			continue
		}
		sum := sha256.Sum256(text)
		f.Sheets = append(f.Sheets, SheetVersion{Name: name, First: first, Version: n, Text: bytes.Clone(text), Sum: hex.EncodeToString(sum[:])})
	}
	return nil
}
