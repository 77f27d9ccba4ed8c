package drivers

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/ledger"
)

// odd are shapes that no built-in file has, for the properties below.
var odd = []string{
	"pattern = '{value}{check}'\n[frame]\nend = '<CR>'\n[check]\nkind = 'crc16-modbus'\nlow_first = true\n",
	"pattern = '{value}{check}'\n[frame]\nend = '<CR><LF>'\n[check]\nkind = 'sum'\n",
	"pattern = '{value}{check}'\n[frame]\nstart = ':'\nend = ['<CR><LF>', 'END']\n[check]\nkind = 'xor'\nwrong = 'keep'\nwith_start = true\n",
	"pattern = '{value}'\n[frame]\nstart = 'N'\nlength = 7\n",
	"pattern = '{value}'\n[frame]\nlength = 5\nmax = 8\n",
	"pattern = '{value}'\n[frame]\nidle = '5ms'\nmax = 12\n",
	"pattern = '{skip}{value}{skip}'\n[frame]\nend = 'aba'\nmax = 16\n",
	"pattern = '{items}'\n[[message]]\npattern = '{items}'\nitem = '[{skip}[{value}]]'\n",
	"any_case = true\nunit_holds = true\n[[message]]\npattern = '{sign}{value}{places}{unit}[{note}]'\n[[message]]\npattern = '{channel}:{items}'\nitem = '{status}{value}{unit}{note:2}'\nbetween = ','\n[status]\n'a' = 'ok'\n'b' = 'note: b'\n'E{digits}' = 'error'\n[faults]\n'{dashes}' = 'over'\n'{skip}9' = 'under'\n",
	"pattern = '{value:4}{value:3,b}{value:hex}'\n[number]\ndecimals = 2\nscale = '0.5'\nfractions = true\nexponent = true\npoint = 'either'\nsign = 'either'\n[number.b]\nsign = 'none'\n[number.hex]\nbase = 16\nbits = 16\n",
	"pattern = '{value}'\n[frame]\nstart = '<STX>'\nend = '<ETX>'\n[check]\nkind = 'crc16-ccitt'\nafter_end = true\nwrong = 'drop'\n",
	"pattern = '{value}'\n[frame]\nstart = '<ESC>['\nend = '<ESC>[K'\n",
	"pattern = '{check}{from}{value}{to}[{unit}]'\n[frame]\nend = '<CR>'\n[check]\nkind = 'xor'\nas = 'hex'\n",
	"pattern = '{check}{from}{value:3}{to}'\n[frame]\nstart = '<STX>'\ncount_at = 2\ncount_as = 'hex'\n[check]\nkind = 'sum16'\n[number]\nbase = 256\nbits = 24\nlow_first = true\nscale = '0.5'\n",
}

func allShapes(t testing.TB) []*Driver {
	all := BuiltIn().All()
	for i, text := range odd {
		if text = strings.TrimPrefix(text, "pattern = '{items}'\n[[message]]"); text != odd[i] {
			text = "[[message]]" + text
		}
		d, err := Parse("odd.toml", []byte(text))
		if err != nil {
			t.Fatalf("odd shape %d: %v", i, err)
		}
		all = append(all, d)
	}
	return append(all, oddFiles(t)...)
}

// feed decodes b cut at the given places, all at one time, and gives what came
// out as text.
func feed(d *Decoder, b []byte, cuts []int) (got []string) {
	emit := func(v *Value) {
		if !v.HasVal && v.Fault == ledger.NoFault {
			panic("neither value nor fault: " + string(v.Raw))
		}
		got = append(got, d.drv.Show(v)+" raw "+string(v.Raw)+" why "+v.Reason.String()+" step "+v.Step.String())
	}
	last := 0
	for _, c := range cuts {
		d.Feed(b[last:c], 7, emit)
		last = c
	}
	d.Feed(b[last:], 7, emit)
	d.End(emit)
	return got
}

// same is the property that every byte stream must have: however it is cut it
// gives the same readings, and the decoder holds no more than a few frames.
func same(t interface {
	Helper()
	Fatalf(string, ...any)
}, d *Driver, b []byte, cuts []int) {
	t.Helper()
	whole := d.NewDecoder()
	want := feed(whole, b, nil)
	var each []int
	for i := 1; i < len(b); i++ {
		each = append(each, i)
	}
	for _, how := range [][]int{each, cuts} {
		dec := d.NewDecoder()
		got := feed(dec, b, how)
		if strings.Join(got, "\n") != strings.Join(want, "\n") {
			t.Fatalf("%s: %q cut at %v gives\n%s\nwhole it gives\n%s", d.Name, b, how, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		if len(dec.buf) > mostMax+64 || cap(dec.buf) > 4*mostMax {
			t.Fatalf("%s holds %d bytes", d.Name, cap(dec.buf))
		}
	}
}

func TestChunkingChangesNothing(t *testing.T) {
	shapes := allShapes(t)
	rapid.Check(t, func(t *rapid.T) {
		d := shapes[rapid.IntRange(0, len(shapes)-1).Draw(t, "shape")]
		piece := rapid.OneOf(
			rapid.SliceOfN(rapid.Byte(), 0, 12),
			rapid.Map(rapid.StringMatching(`[-+ ]{0,2}[0-9]{0,6}[.,]?[0-9]{0,4}( ?(mm|in|N|kg))?`), func(s string) []byte { return []byte(s) }),
			rapid.SampledFrom([][]byte{{'\r'}, {'\n'}, {'\r', '\n'}, {2}, {3}, []byte("N"), []byte(":"), []byte("END"), []byte("aba"), []byte("$"), []byte("*00")}),
		)
		if len(d.Examples) > 0 {
			e := d.Examples[rapid.IntRange(0, len(d.Examples)-1).Draw(t, "example")]
			piece = rapid.OneOf(piece, rapid.Just(bytes.Join(e.Chunks, nil)))
		}
		b := bytes.Join(rapid.SliceOfN(piece, 0, 12).Draw(t, "pieces"), nil)
		var cuts []int
		for i := range b {
			if i > 0 && rapid.IntRange(0, 3).Draw(t, "cut") == 0 {
				cuts = append(cuts, i)
			}
		}
		same(t, d, b, cuts)
	})
}

// Seeds live in testdata/fuzz, where `go test` finds them; the folder is
// asserted to hold them.
func FuzzDecode(f *testing.F) {
	wantSeeds(f, "FuzzDecode", 4)
	shapes := allShapes(f)
	for i, d := range shapes {
		for _, e := range d.Examples {
			f.Add(uint8(i), bytes.Join(e.Chunks, nil), uint16(3))
		}
	}
	f.Fuzz(func(t *testing.T, shape uint8, b []byte, cut uint16) {
		if len(b) > 4096 {
			return
		}
		d := shapes[int(shape)%len(shapes)]
		var cuts []int
		for i := int(cut%17) + 1; i < len(b); i += int(cut%17) + 1 {
			cuts = append(cuts, i)
		}
		same(t, d, b, cuts)
	})
}

// FuzzParse: no text panics or hangs the parser, every error is one line that
// names the file, and what compiles decodes its own text without trouble.
func FuzzParse(f *testing.F) {
	wantSeeds(f, "FuzzParse", 5)
	for _, d := range BuiltIn().All() {
		f.Add(d.Text)
	}
	for _, s := range odd {
		f.Add([]byte(s))
	}
	for _, d := range oddFiles(f) {
		f.Add(d.Text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		d, err := Parse("f.toml", text)
		if err != nil {
			if s := err.Error(); strings.ContainsAny(s, "\r\n") || !strings.HasPrefix(s, "f.toml:") {
				t.Fatalf("error %q", s)
			}
			return
		}
		b := text[:min(len(text), 300)]
		same(t, d, b, []int{len(b) / 2})
		d.CheckExamples()
	})
}

func wantSeeds(t testing.TB, target string, least int) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("testdata", "fuzz", target, "*"))
	if err != nil || len(files) < least {
		t.Fatalf("testdata/fuzz/%s holds %d seeds, expected at least %d (%v)", target, len(files), least, err)
	}
	for _, f := range files {
		if b, err := os.ReadFile(f); err != nil || !bytes.HasPrefix(b, []byte("go test fuzz v1\n")) {
			t.Fatalf("%s is no seed (%v)", f, err)
		}
	}
}
