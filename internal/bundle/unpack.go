package bundle

import (
	"archive/zip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"strings"

	"thouwright/internal/journal"
)

// unpacked is a bundle's folder on disk, with the sum of every file in it.
type unpacked struct {
	dir  string
	sums map[string]string // SHA-256, hex, by name in the folder
	bad  []journal.FileReport
}

// checkEntries refuses an archive that could do harm when it is unpacked, or
// that unpacks differently with different programs; size is the archive's. It
// returns the one folder in which all stands.
func checkEntries(z *zip.Reader, size int64) (folder string, bad []journal.FileReport) {
	refuse := func(name, text string) {
		const most = 20
		if len(bad) < most {
			bad = append(bad, journal.FileReport{Name: shown(name), Text: text})
		}
	}
	if len(z.File) > mostEntries {
		refuse("", fmt.Sprintf("refused: %d entries, at most %d are read", len(z.File), mostEntries))
		return "", bad
	}
	seen := map[string]bool{}
	var total uint64
	for _, e := range z.File {
		top, _, inside := strings.Cut(e.Name, "/")
		switch err := checkName(e.Name); {
		case err != nil:
			refuse(e.Name, err.Error())
		case e.Mode().Type() != 0:
			refuse(e.Name, "refused: a link, folder or special file: a bundle holds regular files only")
		case seen[e.Name]:
			refuse(e.Name, "refused: its name stands twice")
		case !inside || folder != "" && top != folder:
			refuse(e.Name, "refused: it stands outside the bundle's folder")
		case e.UncompressedSize64 > mostUnpacked:
			refuse(e.Name, fmt.Sprintf("refused: it would unpack to %d bytes", e.UncompressedSize64))
		default:
			folder = top
			total += e.UncompressedSize64
		}
		seen[e.Name] = true
	}
	if total > mostUnpacked || total > freeRatio+mostRatio*uint64(size) {
		refuse("", fmt.Sprintf("refused: its %d bytes would unpack to %d", size, total))
	}
	if len(z.File) == 0 {
		refuse("", "holds nothing")
	}
	return folder, bad
}

// shown is a name as a line can hold it.
func shown(name string) string {
	if checkName(name) == nil || name == "" {
		return name
	}
	if len(name) > 80 {
		name = name[:80] + "…"
	}
	return fmt.Sprintf("%q", name)
}

// unpack writes the entries, which checkEntries let pass, into a folder that is
// new and empty.
func unpack(z *zip.Reader, folder, into string) (*unpacked, error) {
	root, err := os.OpenRoot(into)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	u := &unpacked{dir: into + "/" + folder, sums: map[string]string{}}
	for _, e := range z.File {
		name := strings.TrimPrefix(e.Name, folder+"/")
		s, err := unpackOne(root, e)
		if err != nil {
			u.bad = append(u.bad, journal.FileReport{Name: name, Text: "cannot be unpacked: " + bare(err).Error()})
		}
		u.sums[name] = s
	}
	return u, nil
}

func unpackOne(root *os.Root, e *zip.File) (string, error) {
	if err := root.MkdirAll(path.Dir(e.Name), 0o755); err != nil {
		return "", err
	}
	in, err := e.Open()
	if err != nil {
		return "", err
	}
	defer in.Close()
	out, err := root.OpenFile(e.Name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	n, err := io.Copy(io.MultiWriter(out, h), io.LimitReader(in, int64(e.UncompressedSize64)+1))
	if err == nil && uint64(n) != e.UncompressedSize64 {
		err = errors.New("its size is not the one its entry states")
	}
	return hex.EncodeToString(h.Sum(nil)), errors.Join(err, out.Close())
}

// folderOf sums the files of a bundle that somebody unpacked.
func folderOf(dir string) (*unpacked, error) {
	names, err := filesUnder(dir)
	if err != nil {
		return nil, err
	}
	u := &unpacked{dir: dir, sums: map[string]string{}}
	for _, name := range names {
		s, err := sumFile(dir + "/" + name)
		if err != nil {
			u.bad = append(u.bad, journal.FileReport{Name: name, Text: bare(err).Error()})
		}
		u.sums[name] = s
	}
	return u, nil
}

func sumFile(name string) (string, error) {
	if info, err := os.Lstat(name); err != nil {
		return "", err
	} else if !info.Mode().IsRegular() {
		return "", errors.New("refused: a link or special file: a bundle holds regular files only")
	}
	f, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
