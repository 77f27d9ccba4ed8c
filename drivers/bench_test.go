package drivers

import (
	"bytes"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"thouwright/internal/ledger"
)

// plainStream is what an indicator sends: about n bytes.
func plainStream(n int) []byte {
	r := rand.New(rand.NewPCG(1, 2))
	var b []byte
	for len(b) < n {
		b = fmt.Appendf(b, "%+08.4f\r\n", (r.Float64()-0.5)*2)
	}
	return b
}

var sinkCount int

// BenchmarkDecode/plain against BenchmarkDecode/floor: the floor only finds the
// line ends with the runtime's own vector code.
func BenchmarkDecode(b *testing.B) {
	stream := plainStream(1 << 20)
	b.Run("floor", func(b *testing.B) {
		b.SetBytes(int64(len(stream)))
		for b.Loop() {
			rest := stream
			for {
				i := bytes.IndexByte(rest, '\n')
				if i < 0 {
					break
				}
				sinkCount++
				rest = rest[i+1:]
			}
		}
	})
	for _, name := range []string{"signed-decimal"} {
		d, err := BuiltIn().Find(name)
		if err != nil {
			b.Fatal(err)
		}
		for _, cut := range []int{64 << 10, 512} {
			b.Run(fmt.Sprintf("%s-chunk-%d", name, cut), func(b *testing.B) {
				b.SetBytes(int64(len(stream)))
				b.ReportAllocs()
				dec := d.NewDecoder()
				emit := func(v *Value) {
					if v.HasVal {
						sinkCount++
					}
				}
				for b.Loop() {
					for i := 0; i < len(stream); i += cut {
						dec.Feed(stream[i:min(i+cut, len(stream))], 0, emit)
					}
				}
			})
		}
	}
}

// bombs are the costliest driver files that the bounds let through which we could
// think of: as many messages as may be, each of which looks through the whole line
// before it fails; or looks for a number at each byte of it; or for one of as many
// words as may be, each of which looks through the line again.
func bombs(t testing.TB) map[string]*Driver {
	words := "[status]\n"
	for i := range mostWords {
		words += fmt.Sprintf("\"{digits}{skip}Q%d\" = \"ok\"\n", i)
	}
	all := map[string]*Driver{}
	for name, text := range map[string]string{
		"line":   strings.Repeat("[[message]]\npattern = \""+strings.Repeat("{skip}7", 100)+"{value}!\"\n", 63),
		"number": strings.Repeat("[[message]]\npattern = \"{skip}{value}!\"\n", 63),
		"words":  strings.Repeat("[[message]]\npattern = \"{skip}{status}{value}\"\n", 63) + words,
	} {
		text = "[frame]\nmax = 4096\n" + text + "[[example]]\nbytes = \"1.5<CR>\"\ngives = [\"garbled\"]\n"
		d, err := Parse("bomb.toml", []byte(text))
		if err != nil {
			t.Fatal(name, err)
		}
		all[name] = d
	}
	return all
}

// A frame costs no more than its length allows, whatever the driver file says:
// without the bound, this line alone would take minutes.
func TestBombsAreBounded(t *testing.T) {
	line := bytes.Repeat([]byte("7"), 4000)
	for name, d := range bombs(t) {
		dec, n := d.NewDecoder(), 0
		dec.Feed(append(line, '\r'), 0, func(v *Value) {
			if n++; v.Fault != ledger.Garbled {
				t.Errorf("%s: %v", name, v)
			}
		})
		if spent := looks(line) - dec.left; n != 1 || spent > 4*looks(line) { // one look more may read the line once for each word
			t.Errorf("%s: %d readings, cost %d", name, n, spent)
		}
	}
}

// BenchmarkBomb is what they cost; beside them the plain driver on the same bytes.
func BenchmarkBomb(b *testing.B) {
	plain, err := BuiltIn().Find("signed-decimal")
	if err != nil {
		b.Fatal(err)
	}
	all := bombs(b)
	all["plain"] = plain
	for _, length := range []int{50, 200, 4000} {
		stream := bytes.Repeat([]byte(strings.Repeat("7", length)+"\r"), 20000/length)
		for _, name := range slices.Sorted(maps.Keys(all)) {
			d := all[name]
			b.Run(fmt.Sprintf("%s-%d", name, length), func(b *testing.B) {
				b.SetBytes(int64(len(stream)))
				dec := d.NewDecoder()
				for b.Loop() {
					dec.Feed(stream, 0, func(*Value) { sinkCount++ })
				}
			})
		}
	}
}
