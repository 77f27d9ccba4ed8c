package drivers

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
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

// BenchmarkBomb is the costliest driver file that the bounds let through which
// we could think of: as many messages as may be, each of which looks through the
// whole line before it fails. Beside it the plain driver on the same bytes: the
// ratio is what a hostile file can cost, and it does not grow with the line.
func BenchmarkBomb(b *testing.B) {
	text := "about = \"looks through everything\"\n"
	for range 63 {
		text += "[[message]]\npattern = \"" + strings.Repeat("{skip}7", 100) + "{value}!\"\n"
	}
	text += "[[message]]\npattern = \"{value}\"\n[[example]]\nbytes = \"1.5<CR>\"\ngives = [\"1.5\"]\n"
	bomb, err := Parse("bomb.toml", []byte(text))
	if err != nil {
		b.Fatal(err)
	}
	plain, err := BuiltIn().Find("signed-decimal")
	if err != nil {
		b.Fatal(err)
	}
	for _, length := range []int{50, 200} {
		stream := bytes.Repeat([]byte(strings.Repeat("7", length)+"\r"), 100)
		for _, d := range []*Driver{plain, bomb} {
			b.Run(fmt.Sprintf("%s-%d", d.Name, length), func(b *testing.B) {
				b.SetBytes(int64(len(stream)))
				dec := d.NewDecoder()
				for b.Loop() {
					dec.Feed(stream, 0, func(*Value) { sinkCount++ })
				}
			})
		}
	}
}
