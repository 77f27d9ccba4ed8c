package form

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"pgregory.net/rapid"

	"thouwright/internal/ledger"
)

// sheet is a small form with everything that a real one has.
type sheet struct {
	Name  string          `toml:"name"`
	Count int             `toml:"count"`
	Part  float64         `toml:"part"`
	Yes   bool            `toml:"yes"`
	Words []string        `toml:"words"`
	Flags map[string]bool `toml:"flags"`
	Box   *box            `toml:"box"`
	Boxes []box           `toml:"boxes"`
}

type box struct {
	Name  string `toml:"name"`
	Size  int    `toml:"size"`
	Inner []box2 `toml:"inner"`
}

type box2 struct {
	Name string `toml:"name"`
	Size int    `toml:"size"`
}

// A generated file, with the line on which each of its keys was written: the
// places found must be these, whatever stands between them.
func TestEveryKeyIsFoundOnItsLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := &writer{t: t, lines: map[string]int{}}
		g.fill()
		g.keys("")
		for i := range rapid.IntRange(0, 3).Draw(t, "boxes") {
			p := fmt.Sprintf("boxes.%d", i)
			g.mark(p)
			g.line("[[ boxes ]]  # " + p)
			g.fill()
			g.boxKeys(p)
			for k := range rapid.IntRange(0, 3).Draw(t, "inner") {
				p := fmt.Sprintf("%s.inner.%d", p, k)
				g.mark(p)
				g.line(`  [[boxes."inner"]]`)
				g.boxKeys(p)
				g.fill()
			}
		}
		text := g.b.String()
		if g.crlf {
			text = strings.ReplaceAll(text, "\n", "\r\n")
		}
		if err := toml.Unmarshal([]byte(text), new(any)); err != nil {
			t.Fatalf("the generator wrote no TOML: %v\n%s", err, text)
		}
		var s sheet
		lines, ps := Parse("f", []byte(text), &s)
		if len(ps) > 0 {
			t.Fatalf("%v\n%s", ps, text)
		}
		for p, want := range g.lines {
			var path []any
			for _, k := range strings.Split(p, ".") {
				if n := int(k[0] - '0'); n >= 0 && n <= 9 {
					path = append(path, n)
				} else {
					path = append(path, k)
				}
			}
			if got := lines.At(path...); got != want {
				t.Fatalf("%s is on line %d, found on %d\n%s", p, want, got, text)
			}
		}
	})
}

type writer struct {
	t     *rapid.T
	b     strings.Builder
	n     int // lines written
	lines map[string]int
	crlf  bool
}

func (g *writer) line(s string) {
	g.b.WriteString(s + "\n")
	g.n += 1 + strings.Count(s, "\n")
}

func (g *writer) mark(path string) { g.lines[path] = g.n + 1 }

// fill writes what must not disturb the count.
func (g *writer) fill() {
	for range rapid.IntRange(0, 2).Draw(g.t, "fill") {
		g.line(rapid.SampledFrom([]string{"", "# [[boxes]]", "   # name = \"x\" ' \"\"\"", "\t"}).Draw(g.t, "filler"))
	}
}

func (g *writer) tail() string {
	return rapid.SampledFrom([]string{"", " # tail ]", "   "}).Draw(g.t, "tail")
}

func (g *writer) keys(prefix string) {
	g.crlf = rapid.Bool().Draw(g.t, "crlf")
	if rapid.Bool().Draw(g.t, "name") {
		g.mark("name")
		g.line(`name = ` + rapid.SampledFrom([]string{`"a # b"`, `'c:\d'`, `"q\"[x"`, `"""one"""`, `''''it'''`, `"\u0041\\"`}).Draw(g.t, "string") + g.tail())
	}
	if rapid.Bool().Draw(g.t, "words") {
		g.mark("words")
		if rapid.Bool().Draw(g.t, "long") {
			g.mark("words")
			at := g.n
			g.lines["words.0"], g.lines["words.1"], g.lines["words.2"] = at+2, at+4, at+4
			g.line("words = [ # first\n  \"a]\",\n  # none\n  'b', \"c,\",\n]" + g.tail())
		} else {
			g.line(`words = ["a", 'b']` + g.tail())
		}
	}
	g.fill()
	if rapid.Bool().Draw(g.t, "flags") {
		g.mark("flags.on")
		g.mark("flags.off sw")
		g.line(`flags = { on = true, "off sw" = false }` + g.tail())
	}
	if rapid.Bool().Draw(g.t, "dotted") {
		g.mark("box.size")
		g.line("box . size = 0x1F" + g.tail())
	} else if rapid.Bool().Draw(g.t, "box") {
		g.mark("part")
		g.line("part = 1e3")
		g.mark("box")
		g.line("[box]" + g.tail())
		g.boxKeys("box")
	}
}

func (g *writer) boxKeys(p string) {
	if rapid.Bool().Draw(g.t, "bname") {
		g.mark(p + ".name")
		g.line(`  "name"= 'x "y"'` + g.tail())
	}
	g.fill()
	if rapid.Bool().Draw(g.t, "bsize") {
		g.mark(p + ".size")
		g.line("\tsize =-7" + g.tail())
	}
}

// Set changes one value and nothing else.
func TestSetKeepsTheRest(t *testing.T) {
	const text = "# head\nname = \"a\" # the name\n\n[[boxes]] # first\n  size = 1   # one\n[[boxes]]\n\n  name = 'b'\n  # end\n"
	for _, c := range []struct {
		key, value, want string
		table            []any
	}{
		{"name", `"z"`, strings.Replace(text, `"a"`, `"z"`, 1), nil},
		{"size", "22", strings.Replace(text, "= 1 ", "= 22 ", 1), []any{"boxes", 0}},
		{"name", `"n"`, strings.Replace(text, "# one\n", "# one\n  name = \"n\"\n", 1), []any{"boxes", 0}},
		{"size", "5", strings.Replace(text, "'b'\n", "'b'\n  size = 5\n", 1), []any{"boxes", 1}},
	} {
		for _, bom := range []string{"", "\ufeff"} {
			for _, end := range []string{"\n", "\r\n"} {
				in := bom + strings.ReplaceAll(text, "\n", end)
				var s sheet
				lines, ps := Parse("f", []byte(in), &s)
				if len(ps) > 0 {
					t.Fatal(ps)
				}
				out, err := lines.Set([]byte(in), c.value, c.key, c.table...)
				if want := bom + strings.ReplaceAll(c.want, "\n", end); err != nil || string(out) != want {
					t.Errorf("%s: %v\n%q, want\n%q", c.key, err, out, want)
				}
			}
		}
	}
}

// Files made to hurt: each must be refused (or read) with one problem at most
// a few lines long, without eating stack or memory.
func TestHostileFiles(t *testing.T) {
	rep := strings.Repeat
	for name, text := range map[string]string{
		"deep list":         "words = " + rep("[", 200_000),
		"deep list in text": "name = \"]]]\nwords = " + rep("[", 200_000),
		"deep inline":       "flags = " + rep("{a=", 100_000),
		"long dotted key":   rep("a.", 300_000) + "a = 1",
		"long header":       "[" + rep("a.", 300_000) + "a]",
		"huge key":          rep("k", 900_000) + " = 1",
		"huge quoted key":   `"` + rep("k", 900_000) + `" = 1`,
		"huge text":         `name = "` + rep("x", 900_000) + `"`,
		"huge number":       "count = " + rep("9", 900_000),
		"open string":       `name = "` + rep("\\\\", 400_000),
		"open long string":  `name = """` + rep("\n", 900_000),
		"many tables":       rep("[[boxes]]\n", 100_000),
		"many unknown keys": func() string {
			var b strings.Builder
			for i := range 60_000 {
				fmt.Fprintf(&b, "k%d = 1\n", i)
			}
			return b.String()
		}(),
		"too large":  rep("#", MaxBytes+1),
		"only zeros": rep("\x00", 1000),
		"utf-16":     "\xff\xfen\x00a\x00m\x00e\x00",
		"lone cr":    "name = \"a\"\rcount = 1",
		"nan":        "part = nan",
		"inf":        "part = inf",
		"big":        "count = 9223372036854775807",
		"far date":   "count = 9999-99-99",
	} {
		t.Run(name, func(t *testing.T) {
			var s sheet
			_, ps := Parse("f", []byte(text), &s)
			if len(ps) == 0 && name != "many tables" {
				t.Error("accepted")
			}
			checkProblems(t, ps)
		})
	}
}

func checkProblems(t *testing.T, ps []ledger.Problem) {
	t.Helper()
	if len(ps) > maxProblems {
		t.Errorf("%d problems", len(ps))
	}
	for _, p := range ps {
		if len(p.Text) > 800 || strings.ContainsAny(p.Text, "\n\r\x00") || p.Text == "" {
			t.Errorf("no clear line: %.300q (%d bytes)", p.Text, len(p.Text))
		}
	}
}

const seeds = "testdata/fuzz/FuzzParse"

func TestFuzzSeedsExist(t *testing.T) {
	if e, err := os.ReadDir(seeds); err != nil || len(e) < 6 {
		t.Fatalf("%s holds %d seeds, %v", seeds, len(e), err)
	}
}

// Whatever the text: no panic, clear lines, and where the library accepts it
// the scanner has seen all of it.
func FuzzParse(f *testing.F) {
	f.Fuzz(func(t *testing.T, text string) {
		var s sheet
		lines, ps := Parse("f", []byte(text), &s)
		checkProblems(t, ps)
		if strings.HasPrefix(text, "\ufeff\ufeff") || len(text) > MaxBytes || badByte(text) >= 0 {
			return
		}
		trimmed := strings.TrimPrefix(text, "\ufeff")
		root, stop, bound, _ := scan(trimmed)
		var m map[string]any
		if bound != "" || len(trimmed) > 2000 {
			return
		}
		if err := toml.Unmarshal([]byte(trimmed), &m); err == nil {
			if stop < len(trimmed) {
				t.Fatalf("the library reads all, the scanner stops at %d of %q", stop, text)
			}
			everyKey(t, m, root, text)
		}
		_ = lines
	})
}

// everyKey asserts that each key the library found has a place.
func everyKey(t *testing.T, m map[string]any, n *node, text string) {
	for k, v := range m {
		kn := n.kids[k]
		if kn == nil {
			if strings.Contains(text, "\\") || strings.Contains(text, `""`) {
				continue // a key written with escapes stands under its written form
			}
			t.Fatalf("key %q has no place in %q", k, text)
		}
		if sub, ok := v.(map[string]any); ok {
			everyKey(t, sub, kn, text)
		}
	}
}
