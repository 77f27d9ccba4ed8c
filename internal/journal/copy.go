package journal

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thouwright/internal/ledger"
)

// Copy copies what belongs to the folder of job f into to/NUMBER, byte for
// byte, and returns that folder. The job may be written meanwhile: the copy is
// then how it stood at one moment, because what is written last (events, then
// takes) is copied first.
func Copy(f *Folder, to string) (string, error) {
	dir := filepath.Join(to, f.Number)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", err
	}
	for _, file := range []ledger.File{ledger.EventsFile, ledger.TakesFile, ledger.ExtrasFile, ledger.BudgetFile, ledger.RestsFile, ledger.ReadingsFile} {
		if err := f.copyLog(file, dir); err != nil {
			return "", err
		}
	}
	for _, sub := range []string{"", driverFolder, photoFolder, tapeFolder} {
		if err := f.copyOthers(sub, dir); err != nil {
			return "", err
		}
	}
	return dir, nil
}

// copyLog copies the parts of a log that are there now. A part that comes up
// meanwhile belongs to a later moment.
func (f *Folder) copyLog(file ledger.File, to string) error {
	names, err := namesIn(f.fsys, f.Dir)
	if err != nil {
		return err
	}
	for _, n := range partsOf(file.Name, names) {
		if err := f.copyFile(partName(file.Name, n), to, true); err != nil {
			return err
		}
	}
	return nil
}

// copyOthers copies what is no log and belongs to the job.
func (f *Folder) copyOthers(sub, to string) error {
	names, err := f.folderNames(sub)
	if err != nil {
		return err
	}
	slices.Sort(names)
	for _, name := range names {
		if sub == "" && len(partsOf("job.toml", []string{name})) == 0 && len(partsOf("bench.toml", []string{name})) == 0 && !strings.Contains(name, ".torn-") {
			continue
		}
		if strings.HasSuffix(name, unfinished) {
			continue
		}
		if err := f.copyFile(filepath.ToSlash(filepath.Join(sub, name)), to, false); err != nil {
			return err
		}
	}
	return nil
}

// copyFile copies one file. A row or header that is just being written is waited
// for; a torn one, which stays so, is copied as it is.
func (f *Folder) copyFile(name, to string, rows bool) error {
	in, err := f.fsys.Open(filepath.Join(f.Dir, filepath.FromSlash(name)), os.O_RDONLY)
	if err != nil {
		return fmt.Errorf("%s cannot be copied: %w", name, bare(err))
	}
	defer in.Close()
	path := filepath.Join(to, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	var at int64
	for try := 0; ; try++ {
		n, err := copyRest(out, in, at)
		at += n
		if err != nil {
			return errors.Join(fmt.Errorf("%s cannot be copied: %w", name, bare(err)), out.Close())
		}
		if !rows || at > 0 && n == 0 && try > 0 || try == liveTries {
			return out.Close()
		}
		last := make([]byte, 1)
		if at > 0 { // else a new part's header is on its way
			if _, err := in.ReadAt(last, at-1); err == nil && last[0] == '\n' {
				return out.Close()
			}
		}
		time.Sleep(livePause)
	}
}

// copyRest copies what stands from an offset on, as long as the file is now.
func copyRest(out io.Writer, in File, from int64) (int64, error) {
	info, err := in.Stat()
	if err != nil {
		return 0, err
	}
	return io.Copy(out, io.NewSectionReader(in, from, info.Size()-from))
}
