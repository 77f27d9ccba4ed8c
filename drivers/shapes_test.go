package drivers

import (
	"strings"
	"testing"
	"time"
)

// What the grammar says of odd streams. Every shape is one example text, so a
// failure prints as a person would see it in 'check'.
func TestOddShapes(t *testing.T) {
	for name, text := range map[string]string{
		"sign digit, places digit, unit digit": `
pattern = "{sign:1}{value:6}{places:1}{unit:1}"
[number]
sign = "none"
[signs]
"0" = "+"
"8" = "-"
[units]
"0" = "mm"
"1" = "in"
[[example]]
bytes = "001234530<CR>800123441<CR>000000020<CR>"
gives = ["12.345 mm", "-0.1234 in", "0.00 mm"]`,
		"counts of a tenth of a micrometre": `
pattern = "{value}"
unit = "mm"
[number]
scale = "0.0001"
[[example]]
bytes = "+123456<CR>-7<CR>"
gives = ["12.3456 mm", "-0.0007 mm"]`,
		"hex, two's complement, implied places": `
pattern = "{value:4}"
[number]
base = 16
bits = 16
decimals = 3
[[example]]
bytes = "FFFF<CR>7fff<CR>0010<CR>G000<CR>"
gives = ["-0.001", "32.767", "0.016", "garbled"]`,
		"units in front, sign after, note between": `
pattern = "{unit}{note}{value}"
[number]
sign = "after"
[notes]
"PK" = "peak"
"--" = ""
[[example]]
bytes = "kN PK 12.3-<CR>N -- 0.5+<CR>"
gives = ["-12.3 kN (peak)", "0.5 N"]`,
		"each value with its own unit and mark": `
pattern = "A{value}{unit}{note};B{value}{unit}{note}"
[notes]
"<" = "below"
">" = "above"
"=" = ""
[[example]]
bytes = "A1.5mm<;B0.25in><CR>A1.5mm=;B2mm><CR>"
gives = ["1: 1.5 mm (below)", "2: 0.25 in (above)", "1: 1.5 mm", "2: 2 mm (above)"]`,
		"one unit for all, behind the last": `
[[message]]
pattern = "{value}/{value}/{value}{unit}"
channels = ["max", "min", "range"]
[[example]]
bytes = "1.5/0.5/1.0 mm<CR>"
gives = ["max: 1.5 mm", "min: 0.5 mm", "range: 1.0 mm"]`,
		"one status in front of all": `
pattern = "{status}:{value},{value}"
[status]
"A" = "ok"
"B" = "error"
"C" = "ignore"
"D" = "note: net"
[[example]]
bytes = "A:1.0,2.0<CR>B:1.0,2.0<CR>C:1.0,2.0<CR>D:1.0,2.0<CR>E:1.0,2.0<CR>"
gives = ["1: 1.0", "2: 2.0", "1: error", "2: error", "1: 1.0 (net)", "2: 2.0 (net)", "garbled"]`,
		"a unit once sent holds": `
pattern = "{value}[{unit}]"
unit_holds = true
[[example]]
bytes = "1.0<CR>1.0in<CR>1.1<CR>2mm<CR>3<CR>"
gives = ["1.0", "1.0 in", "1.1 in", "2 mm", "3 mm"]`,
		"channel lines and unit lines": `
[[message]]
pattern = "{value}"
[[message]]
pattern = "GAUGE {channel}"
[[message]]
pattern = "* {unit}"
[[example]]
bytes = "GAUGE 4<CR>* mm<CR>1.5<CR>GAUGE B<CR>2.5<CR>"
gives = ["4: 1.5 mm", "B: 2.5 mm"]`,
		"the data button marks its lines": `
[[message]]
pattern = "{value}"
[[message]]
pattern = "!{value}"
pressed = true
note = "button"
[[example]]
bytes = "1.5<CR>!1.5<CR>"
gives = ["1.5", "1.5 (button)"]`,
		"a time in front, text behind": `
pattern = "{digits:2}:{digits:2}:{digits:2} {value} {skip}"
[[example]]
bytes = "12:03:04 -0.5 rest of it, 7<CR>"
gives = ["-0.5"]`,
		"skip up to the number": `
pattern = "{skip}={value}"
[[example]]
bytes = "result of take 5 = -0.5<CR>=1<CR>"
gives = ["-0.5", "1"]`,
		"objects in braces": `
pattern = '\{"v":{value},"u":"{unit}"\}'
[[example]]
bytes = '{"v":-1.250,"u":"mm"}<LF>'
gives = ["-1.250 mm"]`,
		"an end of several bytes, with CR LF inside": `
pattern = "V={value}<CR><LF>U={unit}"
[frame]
end = "END"
[[example]]
bytes = "V=1.5<CR><LF>U=mmENDV=2.5<CR><LF>U=inEND"
gives = ["1.5 mm", "2.5 in"]`,
		"a file that says CR for a gauge that sends CR LF": `
pattern = "{value}"
[frame]
end = "<CR>"
[[example]]
bytes = "1.5<CR><LF>2.5<CR><LF>"
gives = ["1.5", "2.5"]`,
		"and LF": `
pattern = "{value}"
[frame]
end = "<LF>"
[[example]]
bytes = "1.5<CR><LF>2.5<CR><LF>"
gives = ["1.5", "2.5"]`,
		"fixed length behind a start letter that also is data": `
pattern = "{value:5}N"
[frame]
start = "N"
length = 7
[[example]]
bytes = "N+1.25NN-0.50Nxx<CR>N+1.NN+2.50N"
gives = ["1.25", "-0.50", "garbled", "garbled", "garbled", "2.50"]`,
		"numbers that mean something else": `
pattern = "{value}"
[faults]
"9999.9" = "over"
"-9999.9" = "under"
"0000.0" = "no-signal"
[[example]]
bytes = "9999.9<CR>-9999.9<CR>0000.0<CR>9999.91<CR>0000.05<CR>999.9<CR>"
gives = ["over", "under", "no-signal", "9999.91", "0.05", "999.9"]`,
		"blank digits": `
pattern = "{value:7}mm"
[faults]
"<SP><SP><SP><SP><SP><SP><SP>" = "no-signal"
[[example]]
bytes = "  1.234mm<CR>       mm<CR>1.234  mm<CR>1 .23  mm<CR>"
gives = ["1.234", "no-signal", "1.234", "garbled"]`,
		"what fits nothing is dropped": `
pattern = "{value}"
otherwise = "ignore"
ignore = ["99"]
[[example]]
bytes = "menu 1<CR>1.5<CR>99<CR>"
gives = ["1.5"]`,
		"exponents, fractions and scale": `
pattern = "{value} {value:f} {value:s}"
[number]
exponent = true
[number.f]
fractions = true
[number.s]
scale = "25.4"
[[example]]
bytes = "1.5e-3 -2 3/8 1.00<CR>"
gives = ["1: 0.0015", "2: -2.375", "3: 25.400"]`,
		"a note of any word": `
pattern = "{value}[{unit}] {note}"
[[example]]
bytes = "1.5 mm #12/A<CR>"
gives = ["1.5 mm (#12/A)"]`,
		"a free word ends at the character that follows it": `
pattern = "{word}:{value}[{note}]*{check}"
[check]
kind = "sum"
as = "decimal"
[[example]]
bytes = "ab/c:1.5 OK*7<CR>x:2*3<CR>"
gives = ["1.5 (OK)", "garbled"]`,
		"a value that may be missing, and nothing else said": `
pattern = "[{value}] {unit}"
[[example]]
bytes = "1.5 mm<CR> in<CR>2 mm<CR>"
gives = ["1.5 mm", "2 mm"]`,
		"a value that may be missing": `
pattern = "[{value}] {unit}[,{status}]"
[status]
"E" = "error"
[[example]]
bytes = "1.5 mm<CR> in<CR> mm,E<CR>2 mm,E<CR>"
gives = ["1.5 mm", "error", "error"]`,
		"no reading from too many digits": `
pattern = "{value}"
[[example]]
bytes = "12345678901234567890<CR>0.0000000000000000001<CR>99999999999999999999999<CR>"
gives = ["garbled", "0.0000000000000000001", "garbled"]`,
	} {
		t.Run(name, func(t *testing.T) {
			d, err := Parse(name, []byte("about = 'x'"+text))
			if err != nil {
				t.Fatal(err)
			}
			for _, err := range d.CheckExamples() {
				t.Error(err)
			}
		})
	}
}

type took struct {
	show string
	why  Reason
}

func times(d *Driver, opened bool, chunks ...any) (got []took) {
	dec := d.NewDecoder()
	emit := func(v *Value) { got = append(got, took{d.Show(v), v.Reason}) }
	at := int64(0)
	if opened {
		dec.Opened(0)
	}
	for _, c := range chunks {
		switch c := c.(type) {
		case time.Duration:
			at += c.Microseconds()
			dec.Expire(at, emit)
		case string:
			dec.Feed([]byte(c), at, emit)
		}
	}
	return got
}

func expect(t *testing.T, got []took, want ...took) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("got %v, expected %v", got, want)
	}
	for i := range got {
		if got[i] != want[i] {
			t.Fatalf("got %v, expected %v", got, want)
		}
	}
}

// Nothing half is ever a value: not after opening, not after a pause.
func TestHalfFrames(t *testing.T) {
	d, _ := BuiltIn().Find("signed-decimal")
	ms := time.Millisecond
	t.Run("opened in mid-line", func(t *testing.T) {
		expect(t, times(d, true, 20*ms, "23\r1.5\r"), took{"garbled", CutOff}, took{"1.5", Fits})
	})
	t.Run("opened, quiet, then a line", func(t *testing.T) {
		expect(t, times(d, true, 150*ms, "1.5\r"), took{"1.5", Fits})
	})
	t.Run("opened at a line end", func(t *testing.T) {
		expect(t, times(d, true, 20*ms, "\r\n1.5\r"), took{"1.5", Fits})
	})
	t.Run("stopped in mid-line, and another line later", func(t *testing.T) {
		expect(t, times(d, false, "1.5\r0.0", 2*time.Second, "9.25\r1.25\r"),
			took{"1.5", Fits}, took{"garbled", CutOff}, took{"garbled", CutOff}, took{"1.25", Fits})
	})
	t.Run("a pause that nobody timed counts as well", func(t *testing.T) {
		got := times(d, false, "1")
		dec := d.NewDecoder()
		emit := func(v *Value) { got = append(got, took{d.Show(v), v.Reason}) }
		dec.Feed([]byte("1"), 0, emit)
		dec.Feed([]byte("0.5\r"), 5e6, emit)
		expect(t, got, took{"garbled", CutOff}, took{"garbled", CutOff})
	})
	t.Run("a slow line is one line", func(t *testing.T) {
		expect(t, times(d, false, "1", 400*ms, ".", 400*ms, "5\r"), took{"1.5", Fits})
	})
	t.Run("reopened", func(t *testing.T) {
		dec := d.NewDecoder()
		var got []took
		emit := func(v *Value) { got = append(got, took{d.Show(v), v.Reason}) }
		dec.Feed([]byte("1.5\r0.0"), 0, emit)
		if string(dec.Pending()) != "0.0" {
			t.Errorf("pending %q", dec.Pending())
		}
		dec.Reset()
		if _, ok := dec.Deadline(); ok || len(dec.Pending()) > 0 {
			t.Error("half a frame survived a reset")
		}
		dec.Feed([]byte("9.9\r2.5\r"), 0, emit)
		expect(t, got, took{"1.5", Fits}, took{"garbled", CutOff}, took{"2.5", Fits})
	})
	t.Run("end of input", func(t *testing.T) {
		dec := d.NewDecoder()
		var got []took
		emit := func(v *Value) { got = append(got, took{d.Show(v), v.Reason}) }
		dec.Feed([]byte("1.5\r1.2"), 0, emit)
		dec.End(emit)
		dec.End(emit)
		expect(t, got, took{"1.5", Fits}, took{"garbled", CutOff})
	})
	t.Run("idle gap", func(t *testing.T) {
		d, _ := BuiltIn().Find("idle-gap")
		expect(t, times(d, false, "1.", 5*ms, "5", 25*ms, "2.5", 19*ms, "0", 20*ms), took{"1.5", Fits}, took{"2.50", Fits})
	})
}

// A flood without a line end is given out in pieces and holds no memory; the
// line that ends it is not trusted, the next one is.
func TestFloods(t *testing.T) {
	d, _ := BuiltIn().Find("signed-decimal")
	dec := d.NewDecoder()
	var long, cut, good int
	emit := func(v *Value) {
		switch {
		case v.Reason == TooLong:
			long++
		case v.Reason == CutOff:
			cut++
		case v.HasVal:
			good++
		}
		if len(v.Raw) > defaultMax {
			t.Fatalf("%d bytes raw", len(v.Raw))
		}
	}
	flood := []byte(strings.Repeat("7", 1<<20))
	dec.Feed(flood, 0, emit)
	if cap(dec.buf) > 4*defaultMax {
		t.Errorf("holds %d bytes", cap(dec.buf))
	}
	dec.Feed([]byte("1\r1.5\r"), 0, emit)
	if long != 1<<20/defaultMax || cut != 1 || good != 1 {
		t.Errorf("%d too long, %d cut off, %d good", long, cut, good)
	}
}

// The decoder allocates nothing per reading, garbled ones included.
func TestNoAllocation(t *testing.T) {
	for _, d := range BuiltIn().All() {
		dec := d.NewDecoder()
		var stream []byte
		for _, e := range d.Examples {
			for _, c := range e.Chunks {
				stream = append(stream, c...)
			}
		}
		n := 0
		emit := func(*Value) { n++ }
		at := int64(0)
		if got := testing.AllocsPerRun(100, func() {
			at += 1e5
			dec.Feed(stream, at, emit)
		}); got > 0 {
			t.Errorf("%s: %v allocations for %d bytes", d.Name, got, len(stream))
		}
		if n == 0 && d.frame.idle == 0 {
			t.Errorf("%s gave nothing", d.Name)
		}
	}
}
