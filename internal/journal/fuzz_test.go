package journal

import (
	"maps"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// Whatever stands in a file of a job's folder, reading it ends, and verify
// takes no other content for the one that was written.
func FuzzVerify(f *testing.F) {
	texts := contents(f, "testdata/golden/2026-041")
	names := slices.Sorted(maps.Keys(texts))
	if len(names) < 10 {
		f.Fatalf("the golden folder holds only %q", names)
	}
	for i, name := range names {
		f.Add(uint8(i), []byte(texts[name]))
		f.Add(uint8(i), []byte(texts[name])[:len(texts[name])/2])
	}
	f.Add(uint8(3), []byte("seq,time\n\"\n,,,,,0123456789abcdef\n"))
	f.Fuzz(func(t *testing.T, which uint8, text []byte) {
		name := names[int(which)%len(names)]
		m := newMemFS()
		m.load(memDir, texts)
		m.set(filepath.Join(memDir, name), text)
		r, err := m.verify(memDir)
		if err == nil && r.Holds && string(text) != texts[name] && !killedHere(r, name) {
			t.Errorf("%s was changed and verify holds", name)
		}
		folder, err := loadFolder(m, memDir, "")
		if err != nil {
			return
		}
		for range folder.Readings() {
		}
		// A journal goes on in any folder, or says why not; never with a panic.
		j, _, err := Open(Options{Dir: "logs", Number: "2026-041", FS: m})
		if err != nil {
			return
		}
		job(j, 100, 1)
		ctx, cancel := contextFor(t, 5*time.Second)
		defer cancel()
		if err := j.Close(ctx, stamp(200)); err != nil {
			t.Error(err)
		}
	})
}
