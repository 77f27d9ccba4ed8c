package gauge

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thouwright/drivers"
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

func driver(t testing.TB, name string) *drivers.Driver {
	t.Helper()
	d, err := drivers.BuiltIn().Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func parsed(t testing.TB, text string) *drivers.Driver {
	t.Helper()
	d, err := drivers.Parse("test.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// at is a stamp so many milliseconds after the start.
func at(ms int64) ledger.Stamp { return ledger.Stamp{Wall: 1e15 + ms*1000, Elapsed: ms * 1000} }

// told is a batch in words.
func told(b *Batch) string {
	var w []string
	for i, r := range b.Readings {
		s := fmt.Sprintf("%s[%d] %s %s", r.Gauge, b.From[i], r.Raw, r.Fault)
		if r.HasVal {
			s = fmt.Sprintf("%s[%d] %s %s", r.Gauge, b.From[i], r.Value, r.Unit)
		}
		w = append(w, strings.TrimSpace(s))
	}
	for _, n := range b.Notes {
		w = append(w, fmt.Sprintf("%s %s: %s", n.Gauge, n.Kind, n.Text))
	}
	b.Reset()
	return strings.Join(w, "\n")
}

func expect(t *testing.T, b *Batch, want ...string) {
	t.Helper()
	if got := told(b); got != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", got, strings.Join(want, "\n"))
	}
}

func TestReadings(t *testing.T) {
	half, _ := quantity.ParseQuantity("0.0127 mm")
	s := NewSource(driver(t, "signed-decimal"), []Spec{{Name: "dial-1", Index: 7, Unit: quantity.In, Step: &half}})
	var b Batch
	s.Link(true, at(0), &b)
	s.Feed([]byte("+0.0045\r\n-.05"), at(500), &b)
	if r := b.Readings[0]; r.At != at(500) || string(r.Raw) != "+0.0045" || math.Abs(r.Step-0.0005) > 1e-12 {
		t.Errorf("reading %+v", r)
	}
	expect(t, &b, "dial-1[7] 0.0045 in")
	s.Feed([]byte("mm\r"), at(520), &b)
	if step := b.Readings[0].Step; step != 0.0127 {
		t.Errorf("step %v in mm, want 0.0127", step)
	}
	expect(t, &b, "dial-1[7] -0.05 mm")
	if c := s.Counts(7); c != (Counts{Good: 2}) {
		t.Errorf("counts %+v", c)
	}
}

// After opening in the middle of a line its half is no reading; on a tape the
// first line is whole.
func TestOpenedInTheMiddle(t *testing.T) {
	s := NewSource(driver(t, "signed-decimal"), []Spec{{Name: "dial-1"}})
	var b Batch
	s.Link(true, at(0), &b)
	s.Feed([]byte("045\r+0.0046\r"), at(10), &b)
	expect(t, &b, "dial-1[0] 045 garbled", "dial-1[0] 0.0046")
	s.Link(false, at(20), &b)
	s.Link(true, at(30), &b)
	s.Feed([]byte("+0.1"), at(200), &b)
	s.Link(false, at(210), &b)
	s.Link(true, at(220), &b)
	s.Feed([]byte("23\r+0.2\r"), at(240), &b)
	expect(t, &b, "dial-1[0] 23 garbled", "dial-1[0] 0.2")

	s = NewSource(driver(t, "signed-decimal"), []Spec{{Name: "dial-1"}})
	s.Whole = true
	s.Link(true, at(0), &b)
	s.Feed([]byte("+0.0045\r"), at(0), &b)
	expect(t, &b, "dial-1[0] 0.0045")
	s = NewSource(driver(t, "signed-decimal"), []Spec{{Name: "dial-1"}})
	s.Feed([]byte("+0.0045\r"), at(0), &b) // no word of an opening at all
	expect(t, &b, "dial-1[0] 0.0045")
}

// Each way of not speaking is its own state with its own words, and ends with
// the next reading.
func TestSilence(t *testing.T) {
	d := driver(t, "signed-decimal")
	quiet, gap := d.Silence.Milliseconds(), d.Gap.Milliseconds()
	s := NewSource(d, []Spec{{Name: "dial-1"}})
	var b Batch
	run := func(until int64) {
		for s.Deadline() <= until*1000 {
			s.Tick(at(s.Deadline()/1000), &b)
		}
	}
	s.Link(true, at(0), &b)
	run(quiet - 1)
	expect(t, &b)
	run(quiet)
	expect(t, &b, "dial-1 silent: nothing for 3 s: is it switched on, awake and plugged in?")
	if s.Deadline() != math.MaxInt64 {
		t.Errorf("deadline %d while silent", s.Deadline())
	}
	s.Feed([]byte("1.0\r"), at(10_000), &b)
	expect(t, &b, "dial-1[0] 1.0", "dial-1 speaking: speaking again after 10 s")

	s.Feed([]byte("1.0\r1."), at(11_000), &b)
	b.Reset()
	run(11_000 + gap)
	expect(t, &b, `dial-1[0] 1. garbled`, `dial-1 stopped: the line stopped in the middle of a reading, after "1.": check plug and cable`)
	run(30_000)
	expect(t, &b)
	s.Feed([]byte("5\r1.5\r"), at(30_000), &b)
	expect(t, &b, "dial-1[0] 5 garbled", "dial-1[0] 1.5", "dial-1 speaking: speaking again after 19 s")

	for i := range int64(12) {
		run(30_400 + i*400)
		s.Feed([]byte("\xf3\x9a\r"), at(30_400+i*400), &b)
	}
	for i := range b.Readings {
		if b.Readings[i].Fault != ledger.Garbled {
			t.Errorf("reading %+v", b.Readings[i])
		}
	}
	b.Readings = b.Readings[:0]
	expect(t, &b,
		`dial-1 burst: 5 lines in a row that the driver signed-decimal cannot read (fits no pattern), the last was "\xF3\x9A": check line setting and cable`,
		`dial-1 unreadable: bytes arrive, but for 3 s none of them fit the driver signed-decimal: check its line setting, or find both with 'thouwright sniff'`)
	if c := s.Counts(0); c.Garbled() != 14 || c.Format != 12 || c.Short != 2 || c.Good != 3 {
		t.Errorf("counts %+v", c)
	}
	s.Link(false, at(40_000), &b)
	run(60_000)
	expect(t, &b) // a port that is gone is told by its own state
}

// A gauge that sends on a press may be silent for hours.
func TestPressIsNeverSilent(t *testing.T) {
	s := NewSource(parsed(t, "about = \"button\"\nsends = \"press\"\npattern = \"{value}\"\n[frame]\nend = \"<CR>\"\n[[example]]\nbytes = \"1.5<CR>\"\ngives = [\"1.5\"]\n"), []Spec{{Name: "caliper"}})
	var b Batch
	s.Link(true, at(0), &b)
	if s.Deadline() != math.MaxInt64 {
		t.Errorf("deadline %d", s.Deadline())
	}
	s.Feed([]byte("1.5\r"), at(500), &b)
	if !b.Readings[0].Pressed {
		t.Error("not marked as pressed")
	}
	expect(t, &b, "caliper[0] 1.5")
	if s.Deadline() != math.MaxInt64 {
		t.Errorf("deadline %d after a reading", s.Deadline())
	}
}

const twoChannels = `about = "two channels"
pattern = "{channel}:{value}"
[frame]
end = "<CR>"
[[example]]
bytes = "01:1.5<CR>"
gives = ["01 1.5"]
`

func TestChannels(t *testing.T) {
	d := parsed(t, twoChannels)
	s := NewSource(d, []Spec{{Name: "a", Index: 1, Channel: "01"}, {Name: "b", Index: 2, Channel: "02"}})
	var b Batch
	s.Whole = true
	s.Link(true, at(0), &b)
	s.Feed([]byte("01:1.5\r02:2.5\r03:3.5\r03:3.6\r"), at(100), &b)
	expect(t, &b, "a[1] 1.5", "b[2] 2.5",
		`a unclaimed: readings of channel "03" arrive that belong to no gauge: write channel = "03" in a [[gauge]] to use them`)
	// One of two falls silent while the other goes on.
	for ms := int64(200); ms <= 4000; ms += 100 {
		s.Feed([]byte("01:1.5\r"), at(ms), &b)
	}
	b.Readings = b.Readings[:0]
	expect(t, &b, "b silent: nothing for 3 s: is it switched on, awake and plugged in?")

	// A gauge that names no channel takes one, never a mixture.
	s = NewSource(d, []Spec{{Name: "only"}})
	s.Feed([]byte("02:2.5\r01:1.5\r02:2.6\r"), at(100), &b)
	expect(t, &b, "only[0] 2.5", "only[0] 2.6",
		`only unclaimed: readings of channel "01" arrive that belong to no gauge: write channel = "01" in a [[gauge]] to use them (only takes "02", the first that was heard)`)
}

// The bytes of a stream give the same however they are cut, and steady readings
// allocate nothing.
func TestChunking(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stream := strings.Join(rapid.SliceOfN(rapid.SampledFrom([]string{"+0.0045\r\n", "-1.5mm\r", "OVER\r", "\xff\xfe", "12", "\r", "+1.2.3\n"}), 1, 40).Draw(t, "stream"), "")
		d, err := drivers.BuiltIn().Find("signed-decimal")
		if err != nil {
			t.Fatal(err)
		}
		var whole, cut Batch
		a, c := NewSource(d, []Spec{{Name: "g"}}), NewSource(d, []Spec{{Name: "g"}})
		a.Feed([]byte(stream), at(0), &whole)
		for rest := stream; rest != ""; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "cut")
			c.Feed([]byte(rest[:n]), at(0), &cut)
			rest = rest[n:]
		}
		if w, p := told(&whole), told(&cut); w != p {
			t.Fatalf("whole gives\n%s\nin pieces\n%s", w, p)
		}
	})
}

func TestNoAllocation(t *testing.T) {
	s := NewSource(driver(t, "signed-decimal"), []Spec{{Name: "g"}})
	var b Batch
	chunk := []byte("+0.0045\r\n-0.0050\r\n")
	ms := int64(0)
	one := func() {
		b.Reset()
		s.Feed(chunk, at(ms), &b)
		ms += 20
	}
	one()
	if n := testing.AllocsPerRun(1000, one); n != 0 {
		t.Errorf("%v allocations a chunk", n)
	}
}

func BenchmarkSource(b *testing.B) {
	s := NewSource(driver(b, "signed-decimal"), []Spec{{Name: "g"}})
	var out Batch
	chunk := []byte(strings.Repeat("+0.01234\r\n", 10))
	b.SetBytes(int64(len(chunk)))
	b.ReportAllocs()
	ms := int64(0)
	for b.Loop() {
		out.Reset()
		s.Feed(chunk, at(ms), &out)
		ms++
	}
	b.ReportMetric(float64(b.N)*10/b.Elapsed().Seconds(), "readings/s")
}
