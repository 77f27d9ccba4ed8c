package journal

import (
	"bytes"
	"encoding/hex"
	"errors"
	"image"
	"image/gif"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"thouwright/internal/ledger"
)

// picture is a small picture of a kind.
func picture(t testing.TB, kind string) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 9, 7))
	var b bytes.Buffer
	err := map[string]func() error{
		"jpg": func() error { return jpeg.Encode(&b, img, nil) },
		"png": func() error { return png.Encode(&b, img) },
		"gif": func() error { return gif.Encode(&b, img, nil) },
	}[kind]()
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A photograph is kept byte for byte under a name of our making, once, whatever
// it was called; what is none leaves nothing behind.
func TestKeepPhoto(t *testing.T) {
	dir := t.TempDir()
	for _, kind := range []string{"jpg", "png"} {
		want := picture(t, kind)
		for range 2 {
			name, err := KeepPhoto(dir, bytes.NewReader(want))
			if err != nil || filepath.Ext(name) != "."+kind || filepath.Dir(filepath.FromSlash(name)) != photoFolder {
				t.Fatalf("%s: %q, %v", kind, name, err)
			}
			if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil || !bytes.Equal(got, want) {
				t.Errorf("%s is not as it was sent: %v", name, err)
			}
		}
	}
	bare := t.TempDir() // of a job without photographs
	large := append(picture(t, "jpg"), make([]byte, MostPhoto)...)
	wide := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x01\x00\x00\x00\x01\x00\x00\x08\x02\x00\x00\x00")
	for what, b := range map[string][]byte{"a GIF": picture(t, "gif"), "nothing": nil, "a page": []byte("<svg onload=alert(1)>"), "too large": large, "too many pixels": wide} {
		if name, err := KeepPhoto(dir, bytes.NewReader(b)); !errors.Is(err, ErrPhoto) || name != "" || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %q, %v", what, name, err)
		}
		if _, err := KeepPhoto(bare, bytes.NewReader(b)); !errors.Is(err, ErrPhoto) {
			t.Errorf("%s: %v", what, err)
		}
		if left, err := os.ReadDir(bare); err != nil || len(left) > 0 {
			t.Errorf("%s left %v behind, %v", what, left, err)
		}
	}
	if left, err := os.ReadDir(filepath.Join(dir, photoFolder)); err != nil || len(left) != 2 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// The folder of photographs leads nowhere else, and nothing else is read by way
// of a photograph's name.
func TestPhotosStayInTheFolder(t *testing.T) {
	dir, other := t.TempDir(), t.TempDir()
	if err := os.Symlink(other, filepath.Join(dir, photoFolder)); err != nil {
		t.Fatal(err)
	}
	if name, err := KeepPhoto(dir, bytes.NewReader(picture(t, "jpg"))); err == nil {
		t.Errorf("kept as %q through a link", name)
	}
	if left, _ := os.ReadDir(other); len(left) > 0 {
		t.Errorf("%v was written outside", left)
	}
	for _, name := range []string{"", "photos", "photos/", "photos/..", "photos/../events.csv", "../x.jpg", "/etc/hostname", "photos/a/b.jpg", "events.csv"} {
		if _, err := PhotoSum(dir, name); err == nil {
			t.Errorf("%q has a sum", name)
		}
	}
}

// A photograph is acknowledged only when it is on disk: a power cut behind that
// leaves it whole, and a fault of the disk at any call before is an error.
func TestAPhotographIsOnDiskBeforeItsName(t *testing.T) {
	const dir = "logs/7"
	want := picture(t, "jpg")
	calls := 0
	for n := 0; n <= calls; n++ {
		m := newMemFS()
		if err := m.MkdirAll(dir); err != nil {
			t.Fatal(err)
		}
		from := m.made()
		if n > 0 {
			m.fail(func(at int, op, name string) (int, error) {
				if at == from+n-1 {
					return 0, syscall.EIO
				}
				return 0, nil
			})
		}
		name, err := keepPhoto(m, dir, bytes.NewReader(want))
		if n == 0 {
			calls = m.made() - from
			if err != nil || calls < 5 {
				t.Fatalf("%d calls, %v", calls, err)
			}
		}
		if err != nil {
			continue
		}
		after := m.powerCut(func([]byte) []byte { return nil })
		if got := after.texts(dir)[filepath.FromSlash(name)]; got != string(want) {
			t.Errorf("call %d failed, %q was acknowledged and has %d of %d bytes after a power cut", n, name, len(got), len(want))
		}
	}
}

// What verify says of photographs.
func TestVerifyOfPhotographs(t *testing.T) {
	dir := smallJob(t)
	names, err := filepath.Glob(filepath.Join(dir, photoFolder, "*"))
	if err != nil || len(names) != 1 {
		t.Fatal(names, err)
	}
	text, err := os.ReadFile(names[0])
	if err != nil {
		t.Fatal(err)
	}
	says := func(word string) {
		t.Helper()
		r, err := Verify(dir)
		if err != nil || r.Holds || !slices.ContainsFunc(r.Files, func(x FileReport) bool {
			return x.Name == photoFolder+"/"+filepath.Base(names[0]) && !x.Holds && strings.Contains(x.Text, word)
		}) {
			t.Errorf("expected %q: %v, %+v", word, err, r.Files)
		}
	}
	write(t, names[0], append(text, 0))
	says("changed")
	if err := os.Remove(names[0]); err != nil {
		t.Fatal(err)
	}
	says("missing")
	write(t, names[0], text)
	write(t, filepath.Join(dir, photoFolder, "by hand.jpg"), text)
	if r := mustHold(t, dir); !strings.Contains(strings.Join(r.Notes, "\n"), "by hand.jpg: no event states") {
		t.Errorf("a photograph put there by hand is not noted: %q", r.Notes)
	}
}

// Words that look like a photograph are words.
func TestWordsAreNoPhotograph(t *testing.T) {
	sum := strings.Repeat(hex.EncodeToString([]byte{7}), 32)
	for _, words := range []string{"seen [photo photos/x.jpg sha256=" + sum + "]", "x [photo y]", " [photo ]"} {
		text := ledger.NoteText(ledger.Tag{}, words, "", "")
		if name, s := ledger.NotePhoto(text); name != "" || s != "" {
			t.Errorf("%q: photograph %q, sum %q", words, name, s)
		}
		text = ledger.NoteText(ledger.Tag{Component: "pin"}, words, "photos/a.png", sum)
		if name, s := ledger.NotePhoto(text); name != "photos/a.png" || s != sum {
			t.Errorf("%q: photograph %q, sum %q", words, name, s)
		}
	}
}
