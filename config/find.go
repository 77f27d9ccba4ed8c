package config

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
)

var numberForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$`)

// GoodNumber tells whether n is a job number. It names a folder, so it is
// letters, digits, point, dash and underscore only, and at most 64 of them.
func GoodNumber(n string) bool { return numberForm.MatchString(n) }

const numberRule = "a job number is 1 to 64 letters, digits, '.', '_' or '-', the first a letter or digit"

// FindJob is the path of job j: j itself where it is a path (it holds a
// separator or ends in .toml), else the sheet with that number in job_dir.
func FindJob(b *Bench, j string) (path string, err error) {
	if strings.ContainsAny(j, `/\`) || strings.HasSuffix(j, ".toml") {
		return j, nil
	}
	if !GoodNumber(j) {
		return "", fmt.Errorf("job %q: %s", j, numberRule)
	}
	path = filepath.Join(b.JobDir, j+".toml")
	if _, err := os.Stat(path); err == nil {
		return path, nil
	}
	jobs, err := ListJobs(b.JobDir)
	if err != nil {
		return "", err
	}
	var known []string
	for _, s := range jobs {
		if s.Number == j {
			return s.File, nil
		}
		known = append(known, s.Number)
	}
	if len(known) == 0 {
		return "", fmt.Errorf("job %q: no job sheets in %s; write %s, or make the job on the page", j, b.JobDir, path)
	}
	if len(known) > 8 {
		known = append(known[:8], "…")
	}
	return "", fmt.Errorf("job %q: no sheet of that number in %s; there are %s", j, b.JobDir, strings.Join(known, ", "))
}

// Sheet is what a list of jobs shows of one sheet.
type Sheet struct {
	File     string
	Number   string
	Customer string
	Machine  string
	Problems []Problem // of a sheet that can't be used
}

// ListJobs lists the job sheets in dir by number; a sheet with mistakes is
// listed under its file's name with its problems. A folder that does not exist
// holds none.
func ListJobs(dir string) ([]Sheet, error) {
	entries, err := os.ReadDir(dir)
	if os.IsNotExist(err) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("job folder: %w", err)
	}
	var out []Sheet
	for _, e := range entries {
		name := e.Name()
		if e.IsDir() || !strings.HasSuffix(name, ".toml") || strings.HasPrefix(name, ".") {
			continue
		}
		s := Sheet{File: filepath.Join(dir, name), Number: strings.TrimSuffix(name, ".toml")}
		if j, ps := LoadJob(s.File); j != nil {
			s.Number, s.Customer, s.Machine = j.Number, j.Customer, j.Machine
		} else {
			s.Problems = ps
		}
		out = append(out, s)
	}
	sort.Slice(out, func(i, k int) bool { return out[i].Number < out[k].Number })
	return out, nil
}
