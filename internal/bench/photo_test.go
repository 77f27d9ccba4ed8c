package bench

import (
	"bytes"
	"context"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"

	"thouwright/internal/journal"
	"thouwright/internal/ledger"
)

// photographed sends a photograph and the note that names it, ends the daemon,
// and has verify find that the picture was changed.
func (r *rig) photographed(ctx context.Context) {
	t := r.t
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 30)), nil); err != nil {
		t.Fatal(err)
	}
	name, err := r.d.keepPhoto(&b)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.d.Do(ctx, ledger.Command{Do: ledger.DoNote, Text: "pitted", Photo: name}); err != nil {
		t.Fatal(err)
	}
	dir := r.d.JobDir()
	r.stop()
	holds := func() bool {
		p, err := Verify(dir)
		if err != nil {
			t.Fatal(err)
		}
		return p.Holds
	}
	f, err := journal.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	last := ""
	for _, e := range f.Events {
		if e.Kind == ledger.EvNote {
			last = e.Text
		}
	}
	if _, words, photo := ledger.ParseNote(last); !strings.HasSuffix(words, "pitted") || photo != name || !holds() {
		t.Errorf("the note is %q, its photograph %q, expected %q", words, photo, name)
	}
	file := filepath.Join(dir, filepath.FromSlash(name))
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	text[len(text)/2]++
	if err := os.WriteFile(file, text, 0o644); err != nil {
		t.Fatal(err)
	}
	if holds() {
		t.Error("a changed photograph is not found")
	}
}
