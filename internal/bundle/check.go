package bundle

import (
	"archive/zip"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"thouwright/internal/journal"
)

// Is tells whether a path is a bundle or the folder of an unpacked one, and not
// a job's folder.
func Is(name string) bool {
	info, err := os.Stat(name)
	if err != nil {
		return false
	}
	if !info.IsDir() {
		return true
	}
	for _, own := range []string{manifestName, helpName} {
		if _, err := os.Lstat(filepath.Join(name, own)); err == nil {
			return true
		}
	}
	return false
}

// Check checks a bundle, or the folder of an unpacked one: seal, manifest,
// signature, and the logs in it by verify. signer is the key that must have
// signed it, nil for whichever. The error is for a file that is no bundle.
func Check(name string, signer ed25519.PublicKey, verify Verifier) (Report, error) {
	if info, err := os.Stat(name); err != nil {
		return Report{}, fmt.Errorf("%s: %w", name, bare(err))
	} else if info.IsDir() {
		u, err := folderOf(name)
		if err != nil {
			return Report{}, err
		}
		return newChecker(name, u, signer).run(verify), nil
	}
	f, err := os.Open(name)
	if err != nil {
		return Report{}, fmt.Errorf("%s: %w", name, bare(err))
	}
	defer f.Close()
	return checkArchive(f, name, signer, verify)
}

func checkArchive(f *os.File, name string, signer ed25519.PublicKey, verify Verifier) (Report, error) {
	info, err := f.Stat()
	if err != nil {
		return Report{}, err
	}
	archive := journal.FileReport{Name: filepath.Base(name)}
	archive.Holds, archive.Text, err = checkSeal(f, info.Size())
	if err != nil {
		return Report{}, fmt.Errorf("%s: %w", name, bare(err))
	}
	only := func(more ...journal.FileReport) Report {
		return Report{Report: journal.Report{Dir: name, Files: append([]journal.FileReport{archive}, more...), Notes: []string{}}}
	}
	z, err := zip.NewReader(f, info.Size())
	if err != nil {
		if start := make([]byte, 4); info.Size() < 4 || !readAt(f, start) || string(start) != "PK\x03\x04" && !archive.Holds {
			return Report{}, fmt.Errorf("%s is no bundle: expected a job's folder, or a file that 'thouwright record --bundle' made", name)
		}
		archive.Holds, archive.Text = false, "cannot be read as an archive, it is cut short or damaged: "+strings.TrimPrefix(err.Error(), "zip: ")
		return only(), nil
	}
	folder, refused := checkEntries(z, info.Size())
	if len(refused) > 0 {
		archive.Holds = false
		if refused[0].Name == "" {
			archive.Text, refused = refused[0].Text, refused[1:]
		}
		return only(refused...), nil
	}
	tmp, err := os.MkdirTemp("", "thouwright-verify-")
	if err != nil {
		return Report{}, err
	}
	defer os.RemoveAll(tmp)
	u, err := unpack(z, folder, tmp)
	if err != nil {
		return Report{}, err
	}
	c := newChecker(name, u, signer)
	c.report.Files = append(c.report.Files, archive)
	return c.run(verify), nil
}

func readAt(f *os.File, b []byte) bool {
	_, err := f.ReadAt(b, 0)
	return err == nil
}

// checkSeal compares the archive's last bytes with the sum of those before.
func checkSeal(f io.ReaderAt, size int64) (holds bool, text string, err error) {
	before := size - int64(sealLen)
	if before <= 0 {
		return false, "has no seal: it is cut short, or another program packed it", nil
	}
	end := make([]byte, sealLen)
	if _, err := f.ReadAt(end, before); err != nil {
		return false, "", err
	}
	if !strings.HasPrefix(string(end), sealWords) {
		return false, "has no seal: bytes were changed, cut or added, or another program packed it", nil
	}
	h := sha256.New()
	if _, err := io.Copy(h, io.NewSectionReader(f, 0, before)); err != nil {
		return false, "", err
	}
	if string(end) != sealText(hex.EncodeToString(h.Sum(nil))) {
		return false, "its bytes are not those that were sealed: some were changed, missing or added", nil
	}
	return true, "as it was packed: its seal is the sum of all its bytes", nil
}

// checker gathers the lines of a report.
type checker struct {
	u      *unpacked
	signer ed25519.PublicKey
	report Report
	line   map[string]int // into report.Files
	text   []byte         // of the manifest
}

func newChecker(name string, u *unpacked, signer ed25519.PublicKey) *checker {
	return &checker{u: u, signer: signer, line: map[string]int{}, report: Report{Report: journal.Report{Dir: name, Notes: []string{}}}}
}

// say adds to a file's line. What does not hold stands first.
func (c *checker) say(name string, holds bool, rows int, text string) {
	i, ok := c.line[name]
	if !ok {
		c.line[name] = len(c.report.Files)
		c.report.Files = append(c.report.Files, journal.FileReport{Name: name, Holds: holds, Rows: rows, Text: text})
		return
	}
	x := &c.report.Files[i]
	x.Rows = max(x.Rows, rows)
	switch {
	case x.Holds && !holds:
		x.Holds, x.Text = false, text
	case x.Holds == holds:
		x.Text += "; " + text
	}
}

func (c *checker) run(verify Verifier) Report {
	for _, b := range c.u.bad {
		c.say(b.Name, false, 0, b.Text)
	}
	c.manifest()
	c.logs(verify)
	c.signature()
	c.report.Holds = true
	for _, x := range c.report.Files {
		c.report.Holds = c.report.Holds && x.Holds
	}
	return c.report
}

// manifest compares every file with its sum, and finds what is missing or more.
func (c *checker) manifest() {
	text, err := c.read(manifestName, mostManifest)
	var sums []sum
	if err == nil {
		c.text = text
		sums, err = parseManifest(text)
	}
	for _, s := range sums {
		switch have, ok := c.u.sums[s.name]; {
		case !ok:
			c.say(s.name, false, 0, "missing: the manifest names it")
		case have != s.hex:
			c.say(s.name, false, 0, "changed: its SHA-256 is "+have+", the manifest has "+s.hex)
		default:
			c.say(s.name, true, 0, "its sum is the manifest's")
		}
	}
	for _, name := range sortedNames(c.u.sums) {
		if _, known := c.line[name]; !known && name != manifestName && name != signName && err == nil {
			c.say(name, false, 0, "added: the manifest does not name it")
		}
	}
	if err != nil {
		c.say(manifestName, false, 0, err.Error())
		return
	}
	c.say(manifestName, true, 0, fmt.Sprintf("names %d files", len(sums)))
}

// logs verifies the job's folder in the bundle.
func (c *checker) logs(verify Verifier) {
	folders := map[string]bool{}
	for name := range c.u.sums {
		if rest, ok := strings.CutPrefix(name, logs+"/"); ok {
			if folder, _, inside := strings.Cut(rest, "/"); inside {
				folders[folder] = true
			}
		}
	}
	if len(folders) != 1 {
		c.say(logs, false, 0, fmt.Sprintf("holds %d jobs' folders, expected one", len(folders)))
		return
	}
	for folder := range folders {
		at := logs + "/" + folder
		r, err := verify(filepath.Join(c.u.dir, logs, folder))
		if err != nil {
			c.say(at, false, 0, strings.ReplaceAll(err.Error(), filepath.Join(c.u.dir, logs, folder), at))
			return
		}
		c.report.Number = r.Number
		for _, x := range r.Files {
			c.say(at+"/"+x.Name, x.Holds, x.Rows, x.Text)
		}
		c.report.Notes = append(c.report.Notes, r.Notes...)
		if r.Number != folder {
			c.say(at, false, 0, "holds the logs of job "+r.Number)
		}
	}
}

// signature checks manifest.sig by signer.pem, and that by the expected key.
func (c *checker) signature() {
	_, hasKey := c.u.sums[keyName]
	_, hasSign := c.u.sums[signName]
	if !hasKey && !hasSign {
		if c.signer != nil {
			c.say(signName, false, 0, "missing: the bundle is not signed, and key "+Fingerprint(c.signer)+" was expected")
			return
		}
		c.report.Notes = append(c.report.Notes, "not signed: anybody could have packed it")
		return
	}
	text, err := c.read(keyName, mostKey)
	var key ed25519.PublicKey
	if err == nil {
		key, err = readSigner(text)
	}
	if err != nil {
		c.say(keyName, false, 0, err.Error())
		return
	}
	sign, err := c.read(signName, 2*ed25519.SignatureSize)
	switch {
	case err != nil:
		c.say(signName, false, 0, err.Error())
	case !ed25519.Verify(key, c.text, sign):
		c.say(signName, false, 0, "the manifest was changed after it was signed, or another key signed it")
	case c.signer != nil && !c.signer.Equal(key):
		c.say(signName, false, 0, "signed by key "+Fingerprint(key)+", expected "+Fingerprint(c.signer))
	default:
		c.report.SignedBy = Fingerprint(key)
		c.say(signName, true, 0, "signed by key "+c.report.SignedBy)
		if c.signer == nil {
			c.report.Notes = append(c.report.Notes, "whose key that is the bundle cannot prove: --signer checks it against one you had another way")
		}
	}
}

// read reads a small file of the bundle.
func (c *checker) read(name string, most int64) ([]byte, error) {
	if _, ok := c.u.sums[name]; !ok {
		return nil, errors.New("missing")
	}
	f, err := os.Open(filepath.Join(c.u.dir, name))
	if err != nil {
		return nil, bare(err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(text)) > most {
		err = fmt.Errorf("over %d bytes", most)
	}
	return text, err
}

func sortedNames(m map[string]string) []string {
	names := make([]string, 0, len(m))
	for n := range m {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}
