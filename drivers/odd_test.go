package drivers

import (
	"path/filepath"
	"testing"
)

// Streams that no built-in file reads, each described by a file alone. All are
// invented.
func oddFiles(t testing.TB) (all []*Driver) {
	t.Helper()
	files, err := filepath.Glob("testdata/odd/*.toml")
	if err != nil || len(files) < 26 {
		t.Fatalf("testdata/odd holds %d files, expected at least 26 (%v)", len(files), err)
	}
	for _, f := range files {
		d, err := ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, d)
	}
	return all
}

func TestOddFiles(t *testing.T) {
	for _, d := range oddFiles(t) {
		if len(d.Examples) == 0 {
			t.Errorf("%s has no example", d.File)
		}
		for _, err := range d.CheckExamples() {
			t.Error(err)
		}
	}
}

// None of them costs memory a reading.
func TestOddFilesAllocateNothing(t *testing.T) {
	for _, d := range oddFiles(t) {
		dec := d.NewDecoder()
		at := int64(0)
		n := 0
		emit := func(*Value) { n++ }
		one := func() {
			for _, c := range d.Examples[0].Chunks {
				dec.Feed(c, at, emit)
				at += 1e7
			}
		}
		one()
		if a := testing.AllocsPerRun(100, one); a != 0 || n == 0 {
			t.Errorf("%s: %v allocations, %d readings", d.Name, a, n)
		}
	}
}

// A value that is missing keeps its place: what stands beside it goes to no
// other value, and the values behind it keep their channels.
func TestMissingValuesKeepTheirPlace(t *testing.T) {
	for _, c := range []struct{ text, bytes, want string }{
		{"[[message]]\npattern = '[{value}],[{value}],[{value}]'\nchannels = ['a', 'b', 'c']\n", "1,,3<CR>,2,<CR>,,3<CR>,,<CR>", `["a: 1" "c: 3" "b: 2" "c: 3"]`},
		{"pattern = '{channel}:[{value}];{channel}:[{value}]'\n", "A:1;B:<CR>A:;B:2<CR>A:1;B:2<CR>A:;B:<CR>", `["A: 1" "B: 2" "A: 1" "B: 2"]`},
		{"pattern = '[{value}{unit}{note}];[{value}{unit}{note}]'\n[notes]\n'<' = 'below'\n'>' = 'above'\n", "1mm<;2in><CR>;2in><CR>1mm<;<CR>", `["1: 1 mm (below)" "2: 2 in (above)" "2: 2 in (above)" "1: 1 mm (below)"]`},
		{"pattern = '[{value}];[{value}];{unit}'\n", "1;2;mm<CR>;2;mm<CR>1;;in<CR>", `["1: 1 mm" "2: 2 mm" "2: 2 mm" "1: 1 in"]`},
		{"pattern = '{note}{value}{note}'\n[notes]\n'N' = 'net'\n'!' = 'held'\n", "N1!<CR>", `["1 (net held)"]`},
		{"[[message]]\npattern = 'T{value};{items}'\nitem = '[{value}]'\nbetween = ';'\n", "T1;;3;<CR>T1;2<CR>", `["1: 1" "3: 3" "1: 1" "2: 2"]`},
	} {
		d := mustParse(t, c.text)
		b, err := parseBytes(c.bytes)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		d.NewDecoder().Feed(b, 0, func(v *Value) { got = append(got, d.Show(v)) })
		if show(got) != c.want {
			t.Errorf("%s%s\n gives %s\n want  %s", c.text, c.bytes, show(got), c.want)
		}
	}
}

// A recording that begins in mid-stream goes on where the decoder was.
func TestResume(t *testing.T) {
	for _, d := range append(allShapes(t), oddFiles(t)...) {
		for _, e := range d.Examples {
			if len(e.Chunks) > 1 {
				continue
			}
			b := e.Chunks[0]
			for cut := 1; cut < len(b); cut++ {
				var whole, parts []string
				dec := d.NewDecoder()
				dec.Feed(b[:cut], 5, func(*Value) {})
				state := dec.State()
				dec.Feed(b[cut:], 6, func(v *Value) { whole = append(whole, d.Show(v)+string(v.Raw)) })
				again := d.NewDecoder()
				if err := again.Resume(state, 5); err != nil {
					t.Fatal(err)
				}
				again.Feed(b[cut:], 6, func(v *Value) { parts = append(parts, d.Show(v)+string(v.Raw)) })
				if show(whole) != show(parts) {
					t.Fatalf("%s cut at %d gives %s; resumed %s", d.Name, cut, show(whole), show(parts))
				}
			}
		}
	}
}

// Bare bytes fit anything, and what is dropped or masked may be the marks of a
// wrong line setting: such files prove nothing to a search.
func TestWhatASearchLeavesOut(t *testing.T) {
	for _, d := range oddFiles(t) {
		out := map[string]bool{"binary-idle": true, "parity-left-in": true, "nul-padding": true}
		if d.NoSniff != out[d.Name] {
			t.Errorf("%s: left out of the search %t, want %t", d.Name, d.NoSniff, out[d.Name])
		}
	}
}
