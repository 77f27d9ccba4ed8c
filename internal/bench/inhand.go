package bench

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"thouwright/config"
	"thouwright/internal/form"
	"thouwright/internal/ledger"
)

// inHandName is the file in log_dir that names the job in hand, so that a
// daemon that is started again goes on with it. It holds one line: the job's
// number, or the path of a sheet outside the job folder.
const inHandName = "in-hand"

// keepInHand notes which job is in hand; none takes the note away. That it
// can't be written costs no more than choosing the job again.
func keepInHand(f *files) error {
	file := filepath.Join(f.bench.LogDir, inHandName)
	if f.job == nil {
		return dropNote(file)
	}
	what := f.job.Number
	if path, err := config.FindJob(f.bench, what); err != nil || path != f.job.File {
		if what, err = filepath.Abs(f.job.File); err != nil {
			return err
		}
	}
	if had, err := form.ReadFile(file, "note"); err == nil && string(had) == what+"\n" {
		return nil
	}
	return writeNote(file, []byte(what+"\n"))
}

// writeNote writes a note to the daemon itself, whole or not at all. It is not
// synced: losing it costs a choice made again, and the loop must not wait.
func writeNote(file string, text []byte) error {
	next := file + ".new"
	if err := os.WriteFile(next, text, 0o644); err != nil {
		return err
	}
	return os.Rename(next, file)
}

func dropNote(file string) error {
	if err := os.Remove(file); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// noteInHand is keepInHand on the way: a bench works without it.
func (d *Daemon) noteInHand(f *files) {
	if err := keepInHand(f); err != nil {
		d.log.Warn().Err(err).Msg("the job in hand can't be noted: after a restart it has to be chosen again")
	}
}

// loadInHand reads the bench and the job that was asked for, or else the one
// that was in hand when the daemon last ran. Where that one can't be gone on
// with, the bench starts without a job, for the gauges still count, and lost
// says why.
func loadInHand(benchFile, job string) (f *files, problems []ledger.Problem, lost string) {
	f, problems = loadFiles(benchFile, job)
	if f == nil || job != "" {
		return f, problems, ""
	}
	text, err := form.ReadFile(filepath.Join(f.bench.LogDir, inHandName), "note")
	if err != nil {
		return f, problems, ""
	}
	job = strings.TrimSpace(string(text))
	with, more := loadFiles(benchFile, job)
	if with != nil {
		return with, more, ""
	}
	for _, p := range more {
		if !p.Warning {
			return f, problems, fmt.Sprintf("the job in hand, %s, can't be gone on with: %s. Mend it and choose it again; takes made now are loose", filepath.Base(job), p.String())
		}
	}
	return f, problems, ""
}
