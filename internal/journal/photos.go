package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // what a photograph may be
	_ "image/png"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"thouwright/internal/ledger"
)

// photoFolder holds the photographs of findings.
const photoFolder = "photos"

// Bounds of a photograph.
const (
	MostPhoto  = 25 << 20 // bytes of its file
	MostPixels = 60e6
)

// ErrPhoto is what every refusal of a picture begins with.
var ErrPhoto = errors.New("expected a photograph as JPEG or PNG of at most 25 MB and 60 million pixels")

// IsPhoto tells by its first bytes whether something is a picture that a job may
// hold, and which: "jpg" or "png".
func IsPhoto(r io.Reader) (ending string, err error) {
	conf, kind, err := image.DecodeConfig(r)
	switch {
	case err != nil, kind != "jpeg" && kind != "png":
		return "", fmt.Errorf("%w; this is something else", ErrPhoto)
	case float64(conf.Width)*float64(conf.Height) > MostPixels:
		return "", fmt.Errorf("%w; this has %d by %d pixels", ErrPhoto, conf.Width, conf.Height)
	case kind == "jpeg":
		return "jpg", nil
	}
	return kind, nil
}

// KeepPhoto writes a picture into the photographs of the job's folder dir and
// returns its name there, photos/….jpg, once it is known to be on disk. The name
// is made of its sum: the same picture sent twice is one file. It is no part of
// the log before a note's event carries its sum.
func KeepPhoto(dir string, picture io.Reader) (name string, err error) {
	return keepPhoto(osFS{}, dir, picture)
}

func keepPhoto(fsys FS, dir string, picture io.Reader) (name string, err error) {
	folder := filepath.Join(dir, photoFolder)
	if _, none := fsys.Lstat(folder); errors.Is(none, fs.ErrNotExist) {
		defer func() {
			if err != nil {
				_ = fsys.Remove(folder) // which does nothing to one with a picture in it
			}
		}()
	}
	if err := fsys.MkdirAll(folder); err != nil {
		return "", fmt.Errorf("the photograph cannot be kept: %w", bare(err))
	}
	if info, err := fsys.Lstat(folder); err != nil || !info.IsDir() {
		return "", fmt.Errorf("%s is no folder: move it away", folder)
	}
	tmp := filepath.Join(folder, "coming"+unfinished)
	if err := fsys.Remove(tmp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	f, err := fsys.Open(tmp, os.O_RDWR|os.O_CREATE|os.O_EXCL)
	if err != nil {
		return "", fmt.Errorf("the photograph cannot be kept: %w", bare(err))
	}
	h := sha256.New()
	size, err := io.Copy(io.MultiWriter(f, h), io.LimitReader(picture, MostPhoto+1))
	ending := ""
	switch {
	case err != nil:
		err = fmt.Errorf("the photograph cannot be kept: %w", bare(err))
	case size > MostPhoto:
		err = fmt.Errorf("%w; this is larger", ErrPhoto)
	default:
		ending, err = IsPhoto(io.NewSectionReader(f, 0, size))
	}
	if err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		name = photoFolder + "/" + hex.EncodeToString(h.Sum(nil))[:16] + "." + ending
		err = fsys.Rename(tmp, filepath.Join(dir, filepath.FromSlash(name)))
	}
	if err != nil {
		return "", errors.Join(err, fsys.Remove(tmp))
	}
	return name, errors.Join(fsys.SyncDir(folder), fsys.SyncDir(dir))
}

// PhotoSum is the SHA-256, in hex, of a photograph in the job's folder dir.
func PhotoSum(dir, name string) (string, error) {
	file, err := filepath.Rel(photoFolder, filepath.FromSlash(name))
	if err != nil || file == "." || file != filepath.Base(file) || !filepath.IsLocal(file) {
		return "", fmt.Errorf("photograph %q: expected the name of one in the job's folder, such as photos/seal.jpg", name)
	}
	sum, err := photoSum(osFS{}, dir, name)
	if err != nil {
		return "", fmt.Errorf("photograph %q cannot be read: %w", name, bare(err))
	}
	return sum, nil
}

func photoSum(fsys FS, dir, name string) (string, error) {
	f, err := fsys.Open(filepath.Join(dir, filepath.FromSlash(name)), os.O_RDONLY)
	if err != nil {
		return "", err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", err
	}
	h := sha256.New()
	if _, err := io.Copy(h, io.NewSectionReader(f, 0, info.Size())); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// photos checks the photographs whose sum a note's event carries. One that was
// put into the folder by hand has none: that is noted.
func (v *verifier) photos() {
	stated := map[string]string{}
	for i := range v.f.Events {
		if e := &v.f.Events[i]; e.Kind == ledger.EvNote {
			if name, sum := ledger.NotePhoto(e.Text); sum != "" {
				if was, ok := stated[name]; ok && was != sum {
					sum = "two different ones"
				}
				stated[name] = sum
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(stated)) {
		x := FileReport{Name: name, Text: "as noted: its sum is the one its event states"}
		switch have, err := photoSum(v.f.fsys, v.f.Dir, name); {
		case errors.Is(err, fs.ErrNotExist):
			x.Text = "missing: the event of a note states its sum"
		case err != nil:
			x.Text = "cannot be read: " + bare(err).Error()
		case have != stated[name]:
			x.Text = "changed: its SHA-256 is " + have + ", its event states " + stated[name]
		default:
			x.Holds = true
		}
		v.report.Files = append(v.report.Files, x)
	}
	names, err := v.f.folderNames(photoFolder)
	if err != nil {
		v.report.Files = append(v.report.Files, FileReport{Name: photoFolder, Text: "cannot be read: " + bare(err).Error()})
	}
	for _, n := range slices.Sorted(slices.Values(names)) {
		if name := photoFolder + "/" + n; stated[name] == "" {
			v.report.Notes = append(v.report.Notes, name+": no event states its sum (it was put there by hand, or its note was never sent)")
		}
	}
}
