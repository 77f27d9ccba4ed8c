package tape

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

type chunk struct {
	At    int64
	Bytes string
}

func readAll(r *Reader) (all []chunk, err error) {
	for {
		at, b, err := r.Next()
		if err == io.EOF {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		all = append(all, chunk{at, string(b)})
	}
}

// What is written is what is read, to the microsecond and the byte.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var buf bytes.Buffer
		started := time.UnixMicro(rapid.Int64Range(0, 4e15).Draw(t, "started")).UTC()
		w, err := NewWriter(&buf, started)
		if err != nil {
			t.Fatal(err)
		}
		var want []chunk
		var at int64
		for range rapid.IntRange(0, 30).Draw(t, "chunks") {
			at += rapid.Int64Range(0, 1e10).Draw(t, "gap")
			b := rapid.SliceOfN(rapid.Byte(), 0, 200).Draw(t, "bytes")
			want = append(want, chunk{at, string(b)})
			if err := w.Chunk(at, b); err != nil {
				t.Fatal(err)
			}
			if rapid.Bool().Draw(t, "comment") {
				if err := w.Comment("gauge back"); err != nil {
					t.Fatal(err)
				}
			}
		}
		r := NewReader("x.tape", &buf)
		got, err := readAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != len(want) {
			t.Fatalf("%d chunks of %d", len(got), len(want))
		}
		for i := range want {
			if got[i] != want[i] {
				t.Fatalf("chunk %d: %+v, want %+v", i, got[i], want[i])
			}
		}
		if !r.Started().Equal(started) {
			t.Fatalf("started %v, want %v", r.Started(), started)
		}
	})
}

func TestHandWritten(t *testing.T) {
	in := "# started 2026-11-25T08:00:00Z\r\n# any words\n\n0\t30\n1.5\t3132\r\n1.5\t\n2.12345678\tAaFf"
	r := NewReader("hand.tape", strings.NewReader(in))
	got, err := readAll(r)
	if err != nil {
		t.Fatal(err)
	}
	want := []chunk{{0, "0"}, {1_500_000, "12"}, {1_500_000, ""}, {2_123_456, "\xaa\xff"}}
	if len(got) != len(want) {
		t.Fatalf("got %v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("chunk %d: %v, want %v", i, got[i], want[i])
		}
	}
	if want := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC); !r.Started().Equal(want) {
		t.Errorf("started %v", r.Started())
	}
}

func TestCommands(t *testing.T) {
	var buf bytes.Buffer
	w, _ := NewWriter(&buf, time.Unix(0, 0))
	if err := w.Text(1_000_001, []byte(`{"do":"accept"}`)); err != nil {
		t.Fatal(err)
	}
	if got, want := buf.String(), "# started 1970-01-01T00:00:00Z\n1.000001\t{\"do\":\"accept\"}\n"; got != want {
		t.Errorf("wrote %q, want %q", got, want)
	}
	at, text, err := NewReader("commands.tape", &buf).NextText()
	if at != 1_000_001 || string(text) != `{"do":"accept"}` || err != nil {
		t.Errorf("read %d %q %v", at, text, err)
	}
}

func TestMistakes(t *testing.T) {
	for in, want := range map[string]string{
		"0.1 3132":            `x.tape:1: found "0.1 3132"; expected seconds, a tab and the bytes in hex`,
		"0\t30\nabc\t30":      `x.tape:2: found "abc\t30"`,
		"-1\t30":              `x.tape:1: found "-1\t30"`,
		"0\t313":              `x.tape:1: the bytes "313" are not hex (an odd number of digits)`,
		"0\t3g":               `x.tape:1: the bytes "3g" are not hex ('g' is no hex digit)`,
		"2\t30\n1\t30":        `x.tape:2: second 1.000000 comes after second 2.000000`,
		"# started yesterday": `x.tape:1: "yesterday" is no time`,
		"1\t30\n# started 2026-11-25T08:00:00Z\n": `x.tape:2: '# started' after the first chunk`,
		"99999999999999999\t30":                   `x.tape:1: found`,
		strings.Repeat("0", MaxLine+2):            `x.tape:1: a line of more than 1048576 bytes`,
	} {
		_, err := readAll(NewReader("x.tape", strings.NewReader(in)))
		var bad *SyntaxError
		if !errors.As(err, &bad) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%.40q: %v, want %s", in, err, want)
		}
	}
}

func TestReadErrorIsPassedOn(t *testing.T) {
	broken := errors.New("disk on fire")
	_, err := readAll(NewReader("x.tape", io.MultiReader(strings.NewReader("0\t30\n"), errReader{broken})))
	if err != broken {
		t.Errorf("got %v", err)
	}
}

type errReader struct{ error }

func (e errReader) Read([]byte) (int, error) { return 0, e.error }

// The seeds lie in testdata/fuzz/FuzzReader; a fuzz target without seeds looks
// well while it tests nothing.
func TestFuzzSeeds(t *testing.T) {
	seeds, _ := filepath.Glob("testdata/fuzz/FuzzReader/*")
	if len(seeds) < 6 {
		t.Fatalf("%d seeds in testdata/fuzz/FuzzReader, want 6 or more", len(seeds))
	}
	for _, s := range seeds {
		if b, err := os.ReadFile(s); err != nil || !bytes.HasPrefix(b, []byte("go test fuzz v1\n")) {
			t.Errorf("%s is no seed: %v", s, err)
		}
	}
}

// Any text gives chunks in order, or one error that names its line; and what
// was read can be written and read again.
func FuzzReader(f *testing.F) {
	f.Fuzz(func(t *testing.T, in []byte) {
		r := NewReader("f.tape", bytes.NewReader(in))
		got, err := readAll(r)
		var bad *SyntaxError
		if err != nil && (!errors.As(err, &bad) || bad.Line < 1 || bad.Line != r.Line()) {
			t.Fatalf("error %v at line %d", err, r.Line())
		}
		var buf bytes.Buffer
		w, _ := NewWriter(&buf, r.Started())
		var last int64
		for _, c := range got {
			if c.At < last || c.At == math.MaxInt64 {
				t.Fatalf("time went back: %d after %d", c.At, last)
			}
			last = c.At
			w.Chunk(c.At, []byte(c.Bytes))
		}
		if y := r.Started().Year(); y < 0 || y > 9999 {
			return
		}
		again, err := readAll(NewReader("again.tape", &buf))
		if err != nil || len(again) != len(got) {
			t.Fatalf("written and read again: %v, %d of %d chunks", err, len(again), len(got))
		}
		for i := range got {
			if again[i] != got[i] {
				t.Fatalf("chunk %d: %v, was %v", i, again[i], got[i])
			}
		}
	})
}

func BenchmarkReader(b *testing.B) {
	var buf bytes.Buffer
	w, _ := NewWriter(&buf, time.Unix(0, 0))
	for i := range 10000 {
		w.Chunk(int64(i)*20_000, []byte("+0.01234 mm\r\n"))
	}
	b.SetBytes(int64(buf.Len()))
	b.ReportAllocs()
	for b.Loop() {
		r := NewReader("b.tape", bytes.NewReader(buf.Bytes()))
		for {
			if _, _, err := r.Next(); err != nil {
				break
			}
		}
	}
}
