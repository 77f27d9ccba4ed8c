package journal

import (
	"bytes"
	"context"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
)

// smallJob is a closed folder with parts, two sheet versions and a torn tail.
func smallJob(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	o := Options{Dir: dir, Number: "2026-041", Part: 900}
	j, _ := mustOpen(t, o)
	job(j, 0, 1)
	if err := j.Close(context.Background(), stamp(12)); err != nil {
		t.Fatal(err)
	}
	appendTo(t, filepath.Join(j.Dir(), "rests.csv"), "2,1,11,2")
	j, rec := mustOpen(t, o)
	if len(rec.Repaired) != 1 {
		t.Fatalf("repaired: %q", rec.Repaired)
	}
	edited := sheets
	edited.Job = []byte("number = \"2026-041\"\n# edited\n")
	j.Event(ledger.Event{Seq: 10, At: stamp(20), Kind: ledger.EvStart})
	j.Sheet(stamp(20), edited)
	j.Readings(batch(10, 4))
	j.Take(take(2, 11, 14))
	name, err := KeepPhoto(j.Dir(), bytes.NewReader(picture(t, "png")))
	if err != nil {
		t.Fatal(err)
	}
	sum, err := PhotoSum(j.Dir(), name)
	if err != nil {
		t.Fatal(err)
	}
	j.Event(ledger.Event{Seq: 14, At: stamp(21), Kind: ledger.EvNote, Text: ledger.NoteText(ledger.Tag{Component: "pin"}, "rust, \"deep\"", name, sum)})
	if err := j.Close(context.Background(), stamp(22)); err != nil {
		t.Fatal(err)
	}
	return j.Dir()
}

func appendTo(t testing.TB, path, text string) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteString(text); err != nil {
		t.Fatal(err)
	}
}

// cutShort is the one change that can look like a kill: see killedHere.
const cutShort = "a file cut short"

// tamper runs change on every file and expects verify to find each change;
// change returns the texts that the file is to have instead.
func tamper(t *testing.T, texts map[string]string, what string, change func(text []byte) [][]byte) {
	t.Helper()
	const dir = "logs/2026-041"
	m := newMemFS()
	m.load(dir, texts)
	tried := 0
	for name, text := range texts {
		path := filepath.Join(dir, name)
		for i, other := range change([]byte(text)) {
			if string(other) == text {
				continue
			}
			tried++
			m.set(path, other)
			r, err := m.verify(dir)
			if err == nil && r.Holds && what == cutShort && killedHere(r, name) {
				continue
			}
			if err == nil && r.Holds {
				t.Errorf("%s: %s (no. %d) was not found", name, what, i)
			}
			if err == nil && !slices.ContainsFunc(r.Files, func(x FileReport) bool { return !x.Holds && sameLog(x.Name, name) }) {
				t.Errorf("%s: %s (no. %d) was laid to another file: %+v", name, what, i, damage(r))
			}
		}
		m.set(path, []byte(text))
	}
	t.Logf("%s: %d tried", what, tried)
	if r, err := m.verify(dir); err != nil || !r.Holds || tried == 0 {
		t.Errorf("%s: %d tried; at the end %v, %+v", what, tried, err, r)
	}
}

// killedHere tells whether what is missing is the very end of the events, stop
// and anchor together: the same as a kill just before, which verify notes.
func killedHere(r Report, name string) bool {
	return strings.HasPrefix(name, "events.") && strings.Contains(strings.Join(r.Notes, "\n"), "does not end with a stop")
}

// sameLog tells whether two names are parts of one log: what was cut from one
// part may show in its neighbour. A changed anchor shows in the file it names.
func sameLog(a, b string) bool {
	stem := func(s string) string { s, _, _ = strings.Cut(s, "."); return s }
	return stem(a) == stem(b) || stem(b) == "events"
}

func write(t testing.TB, path string, b []byte) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

func lines(text []byte) [][]byte { return bytes.SplitAfter(text, []byte("\n")) }

func TestVerifyFindsEverySingleChange(t *testing.T) {
	dir := smallJob(t)
	r := mustHold(t, dir)
	if len(r.Files) < 17 {
		t.Fatalf("the folder is too simple for this test: %+v", r.Files)
	}
	texts := contents(t, dir)
	tamper(t, texts, "a flipped bit", func(text []byte) (all [][]byte) {
		step := 3
		if *deep {
			step = 1
		}
		for i := 0; i < len(text); i += step {
			other := bytes.Clone(text)
			other[i] ^= 1 << (i % 8)
			all = append(all, other)
		}
		return all
	})
	tamper(t, texts, "a missing byte", func(text []byte) (all [][]byte) {
		for i := 0; i < len(text); i += 5 {
			all = append(all, slices.Delete(bytes.Clone(text), i, i+1))
		}
		return all
	})
	tamper(t, texts, "an added byte", func(text []byte) (all [][]byte) {
		for i := 0; i < len(text); i += 5 {
			all = append(all, slices.Insert(bytes.Clone(text), i, "7,\"\n"[i%4]))
		}
		for _, c := range []byte("0179,\"\n") {
			all = append(all, append(bytes.Clone(text), c))
		}
		return all
	})
	tamper(t, texts, "a missing row", func(text []byte) (all [][]byte) {
		rows := lines(text)
		for i := range rows {
			all = append(all, bytes.Join(slices.Delete(slices.Clone(rows), i, i+1), nil))
		}
		return all
	})
	tamper(t, texts, "a row standing twice", func(text []byte) (all [][]byte) {
		rows := lines(text)
		for i := range rows {
			all = append(all, bytes.Join(slices.Insert(slices.Clone(rows), i, rows[i]), nil))
		}
		return all
	})
	tamper(t, texts, "two rows swapped", func(text []byte) (all [][]byte) {
		rows := lines(text)
		for i := range rows[1:] {
			other := slices.Clone(rows)
			other[i], other[i+1] = other[i+1], other[i]
			all = append(all, bytes.Join(other, nil))
		}
		return all
	})
	tamper(t, texts, cutShort, func(text []byte) (all [][]byte) {
		for i := range lines(text) {
			all = append(all, bytes.Join(lines(text)[:i], nil))
		}
		return all
	})
}

func TestVerifyFindsMissingAndStrayFiles(t *testing.T) {
	dir := smallJob(t)
	for name, text := range contents(t, dir) {
		path := filepath.Join(dir, name)
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		if r, err := Verify(dir); err == nil && r.Holds && !killedHere(r, name) {
			t.Errorf("%s was removed and verify holds", name)
		}
		write(t, path, []byte(text))
	}
	write(t, filepath.Join(dir, "job.3.toml"), []byte("number = \"x\"\n"))
	if r, err := Verify(dir); err != nil || r.Holds {
		t.Errorf("a job sheet that nobody used is not found: %+v, %v", r, err)
	}
	os.Remove(filepath.Join(dir, "job.3.toml"))
	write(t, filepath.Join(dir, "readings.9.csv"), []byte(ledger.ReadingsFile.Header()+"\n"))
	if r, err := Verify(dir); err != nil || r.Holds {
		t.Errorf("a part that nobody wrote is not found: %+v, %v", r, err)
	}
}

// A row moved over the seam of two parts keeps the content and its order, and
// is a change all the same.
func TestVerifyFindsARowMovedOverASeam(t *testing.T) {
	dir := smallJob(t)
	a, b := filepath.Join(dir, "readings.csv"), filepath.Join(dir, "readings.2.csv")
	ta, tb := []byte(contents(t, dir)["readings.csv"]), []byte(contents(t, dir)["readings.2.csv"])
	ra, rb := lines(ta), lines(tb)
	last := ra[len(ra)-2] // behind it stands an empty piece
	write(t, a, bytes.Join(ra[:len(ra)-2], nil))
	write(t, b, bytes.Join(slices.Insert(slices.Clone(rb), 1, last), nil))
	if r, err := Verify(dir); err != nil || r.Holds {
		t.Errorf("a row moved back was not found: %+v, %v", r, err)
	}
	write(t, a, slices.Concat(ta, rb[1]))
	write(t, b, bytes.Join(slices.Delete(slices.Clone(rb), 1, 2), nil))
	if r, err := Verify(dir); err != nil || r.Holds {
		t.Errorf("a row moved forward was not found: %+v, %v", r, err)
	}
}

// A folder that was copied under another name still proves itself.
func TestARenamedFolderVerifies(t *testing.T) {
	dir := smallJob(t)
	other := filepath.Join(t.TempDir(), "for the customer")
	if err := os.Rename(dir, other); err != nil {
		t.Fatal(err)
	}
	if r := mustHold(t, other); r.Number != "2026-041" {
		t.Errorf("number %q, expected 2026-041", r.Number)
	}
}

// runningJob is a job that is being written, with new parts and sheets, until
// end is called, which closes it.
func runningJob(t *testing.T, part int64) (j *Journal, end func()) {
	t.Helper()
	j, _ = mustOpen(t, Options{Dir: t.TempDir(), Number: "7", Part: part})
	stop, done := make(chan struct{}), make(chan uint64)
	go func() {
		seq, n := uint64(0), uint64(0)
		j.Event(ledger.Event{At: stamp(0), Kind: ledger.EvStart})
		for {
			select {
			case <-stop:
				done <- seq
				return
			default:
			}
			for range 10 {
				j.Readings(batch(seq, 20))
				seq += 20
				time.Sleep(200 * time.Microsecond)
			}
			n++
			j.Sheet(stamp(seq), Sheets{Job: []byte(strings.Repeat("#\n", int(n/5)))})
			j.Take(take(n, seq-199, seq))
		}
	}()
	return j, func() {
		close(stop)
		if err := j.Close(t.Context(), stamp(<-done)); err != nil {
			t.Fatal(err)
		}
	}
}

// A folder that is being written is whole at every moment a reader looks.
func TestVerifyWhileTheJobRuns(t *testing.T) {
	j, stop := runningJob(t, 200_000)
	looks := 0
	for end := time.Now().Add(1500 * time.Millisecond); time.Now().Before(end); looks++ {
		mustHold(t, j.Dir())
		if f, err := Load(j.Dir()); err != nil || len(f.Problems) > 0 {
			t.Fatal(err, f.Problems)
		}
	}
	stop()
	mustHold(t, j.Dir())
	if looks < 3 {
		t.Errorf("only %d looks", looks)
	}
}

// A job that is being written is copied as it stood at one moment: the copy is
// whole by itself.
func TestCopyWhileTheJobRuns(t *testing.T) {
	j, stop := runningJob(t, 60_000)
	copied := func() string {
		live, err := Load(j.Dir())
		if err != nil {
			t.Fatal(err)
		}
		dir, err := Copy(live, t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		mustHold(t, dir)
		return dir
	}
	copies := 0
	for end := time.Now().Add(time.Second); time.Now().Before(end); copies++ {
		copied()
	}
	stop()
	want, got := contents(t, j.Dir()), contents(t, copied())
	delete(want, lockName)
	for name := range want {
		if want[name] != got[name] {
			t.Errorf("%s differs in the copy", name)
		}
	}
	if len(got) != len(want) || copies < 3 {
		t.Errorf("%d files, expected %d; %d copies", len(got), len(want), copies)
	}
}

// Any single change of any file, wherever it is, is found: a byte that is
// another, missing or added; a row that is missing, added, made up, moved or
// changed places with another.
func TestVerifyFindsAnySingleChange(t *testing.T) {
	const dir = "logs/2026-041"
	texts := contents(t, smallJob(t))
	for _, file := range ledger.Files {
		if n := strings.Count(texts[file.Name], "\n"); n < 3 {
			t.Fatalf("%s has only %d lines: nothing could be swapped", file.Name, n)
		}
	}
	names := slices.Sorted(maps.Keys(texts))
	if !slices.ContainsFunc(names, func(n string) bool { return filepath.Dir(n) == photoFolder }) {
		t.Fatal("no photograph")
	}
	m := newMemFS()
	m.load(dir, texts)
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(names).Draw(t, "file")
		text := []byte(texts[name])
		rows := lines(text)
		if len(rows[len(rows)-1]) == 0 {
			rows = rows[:len(rows)-1]
		}
		at := rapid.IntRange(0, len(text)-1).Draw(t, "byte")
		a, b := rapid.IntRange(0, len(rows)-1).Draw(t, "row"), rapid.IntRange(0, len(rows)-1).Draw(t, "other row")
		what := rapid.SampledFrom([]string{"byte", "missing byte", "added byte", "missing row", "made-up row", "row twice", "moved row", "swapped rows"}).Draw(t, "change")
		switch what {
		case "byte":
			text[at] = rapid.Byte().Draw(t, "value")
		case "missing byte":
			text = slices.Delete(text, at, at+1)
		case "added byte":
			text = slices.Insert(text, at, rapid.Byte().Draw(t, "value"))
		case "missing row":
			text = bytes.Join(slices.Delete(rows, a, a+1), nil)
		case "made-up row":
			row := bytes.Clone(rows[a])
			if i := bytes.IndexAny(row, "0123456789"); i >= 0 {
				row[i] = '0' + (row[i]-'0'+1)%10
			}
			text = bytes.Join(slices.Insert(rows, b, row), nil)
		case "row twice":
			text = bytes.Join(slices.Insert(rows, b, rows[a]), nil)
		case "moved row":
			row := rows[a]
			rows = slices.Delete(slices.Clone(rows), a, a+1)
			text = bytes.Join(slices.Insert(rows, min(b, len(rows)), row), nil)
		case "swapped rows":
			rows[a], rows[b] = rows[b], rows[a]
			text = bytes.Join(rows, nil)
		}
		if string(text) == texts[name] {
			return
		}
		m.set(filepath.Join(dir, name), text)
		defer m.set(filepath.Join(dir, name), []byte(texts[name]))
		if r, err := m.verify(dir); err == nil && r.Holds {
			t.Fatalf("%s: %s at byte %d, rows %d and %d of %d: not found", name, what, at, a+1, b+1, len(rows))
		}
	})
	if r, err := m.verify(dir); err != nil || !r.Holds {
		t.Errorf("at the end: %v, %+v", err, r)
	}
}
