package record

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
	"pgregory.net/rapid"

	"thouwright/internal/journal"
	"thouwright/internal/quantity"
)

// A thinned trace keeps its least and largest reading, its order and its bound,
// whatever its length.
func TestThinningKeepsPeaks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 9000).Draw(t, "readings")
		peak := rapid.IntRange(0, n-1).Draw(t, "peak")
		dip := rapid.IntRange(0, n-1).Draw(t, "dip")
		x := &trace{each: 1}
		low, high := math.Inf(1), math.Inf(-1)
		for i := range n {
			v := math.Sin(float64(i) / 50)
			if i == peak {
				v = 7
			}
			if i == dip {
				v = -7
			}
			low, high = math.Min(low, v), math.Max(high, v)
			x.add(point{float64(i), v})
		}
		pts := x.points()
		if a, b := span(pts); a != low || b != high {
			t.Fatalf("%v to %v, read %v to %v", a, b, low, high)
		}
		if len(x.b) > 2*mostBuckets {
			t.Fatalf("%d buckets", len(x.b))
		}
		for i := 1; i < len(pts); i++ {
			if pts[i].t < pts[i-1].t {
				t.Fatalf("point %d is before point %d", i, i-1)
			}
		}
		if want := min(n, mostBuckets); len(pts) < want {
			t.Fatalf("%d points of %d readings", len(pts), n)
		}
	})
}

// Limits keep the sheet's digits; in the other system they lie within the
// sheet's own.
func TestLimitsKeepTheSheetsDigits(t *testing.T) {
	for _, c := range []struct{ sheet, text, other string }{
		{"0.020..0.150 mm", "0.020 to 0.150 mm", "0.00079 to 0.00590 in"},
		{"..0.250 mm", "up to 0.250 mm", "up to 0.00984 in"},
		{"1.0..6.0 N·m", "1.0 to 6.0 N·m", ""},
		{"0.0012..0.0040 in", "0.0012 to 0.0040 in", "0.031 to 0.101 mm"},
		{"2.0.. thou", "from 2.0 thou", "from 0.051 mm"},
		{"28.0..28.033 mm", "28.0 to 28.033 mm", "1.10237 to 1.10366 in"},
	} {
		r, err := quantity.ParseRange(c.sheet)
		if err != nil {
			t.Fatal(err)
		}
		low, high, err := r.In(r.Unit)
		if err != nil {
			t.Fatal(err)
		}
		if l := newLimits(low, high, r.Unit, &r); l.Text != c.text || l.Other != c.other {
			t.Errorf("%s: %q, %q; expected %q, %q", c.sheet, l.Text, l.Other, c.text, c.other)
		}
	}
	// A fit states no digits: both ends get as many as the finer one needs.
	if l := newLimits(28, 28.033, quantity.MM, nil); l.Text != "28.000 to 28.033 mm" {
		t.Errorf("%q", l.Text)
	}
	rapid.Check(t, func(t *rapid.T) {
		places := rapid.IntRange(0, 4).Draw(t, "places")
		a := rapid.IntRange(0, 99999).Draw(t, "low")
		b := a + rapid.IntRange(1, 5000).Draw(t, "width")
		unit := rapid.SampledFrom([]quantity.Unit{quantity.MM, quantity.In, quantity.Thou, quantity.UM}).Draw(t, "unit")
		text := func(n int) string { return strconv.FormatFloat(float64(n)/math.Pow10(places), 'f', places, 64) }
		r, err := quantity.ParseRange(text(a) + ".." + text(b) + " " + unit.String())
		if err != nil {
			t.Fatal(err)
		}
		low, high, _ := r.In(unit)
		l := newLimits(low, high, unit, &r)
		if l.Other == "" {
			return // no number of the other system lies within
		}
		o := otherUnit(unit)
		ends := strings.Split(strings.TrimSuffix(l.Other, " "+unitText(o)), " to ")
		for _, e := range ends {
			v, err := strconv.ParseFloat(e, 64)
			if err != nil {
				t.Fatal(err)
			}
			back, _ := quantity.Convert(v, o, unit)
			if hair := 1e-5 * (high - low); back < low-hair || back > high+hair {
				t.Fatalf("%s in the other system is %s: %v lies outside", l.Text, l.Other, back)
			}
		}
	})
}

// photoJob is a folder with nothing but photographs.
func photoJob(t *testing.T, files map[string][]byte) *Record {
	t.Helper()
	dir := t.TempDir()
	for name, b := range files {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return &Record{folder: &journal.Folder{Dir: dir}}
}

// corner is a picture that is red in its upper left quarter.
func corner(w, h int) image.Image {
	img := image.NewNRGBA64(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.NRGBA64{0, 0, 0xffff, 0xffff}
			if x < w/2 && y < h/2 {
				c = color.NRGBA64{0xffff, 0, 0, 0xffff}
			}
			img.SetNRGBA64(x, y, c)
		}
	}
	return img
}

// held is a JPEG whose camera says how it was held.
func held(t *testing.T, o byte, order binary.ByteOrder) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, corner(60, 40), nil); err != nil {
		t.Fatal(err)
	}
	exif := []byte("Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00\x00\x00")
	tiff := exif[6:]
	if order == binary.LittleEndian {
		copy(tiff, "II\x2a\x00\x08\x00\x00\x00\x01\x00\x12\x01\x03\x00\x01\x00\x00\x00")
	}
	order.PutUint16(tiff[18:], uint16(o))
	head := []byte{0xff, 0xd8, 0xff, 0xe1, 0, byte(len(exif) + 2)}
	return append(append(head, exif...), b.Bytes()[2:]...)
}

// Photographs come out upright whatever way the camera was held, smaller where
// they are large, and from files that the PDF's own reader would refuse.
func TestPhotographsAreUpright(t *testing.T) {
	var deep bytes.Buffer
	if err := png.Encode(&deep, corner(3000, 200)); err != nil { // 16 bits a colour
		t.Fatal(err)
	}
	r := photoJob(t, map[string][]byte{"photos/deep.png": deep.Bytes(), "photos/6.jpg": held(t, 6, binary.BigEndian), "photos/3.jpg": held(t, 3, binary.LittleEndian), "photos/1.jpg": held(t, 1, binary.BigEndian)})
	for _, c := range []struct {
		name     string
		w, h     int
		redRight bool
		redLow   bool
	}{
		{"photos/deep.png", 1400, 93, false, false},
		{"photos/1.jpg", 60, 40, false, false},
		{"photos/6.jpg", 40, 60, true, false}, // turned a quarter to the right
		{"photos/3.jpg", 60, 40, true, true},  // upside down
	} {
		data, size, err := r.photo(c.name)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		img, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil || size != img.Bounds().Size() || size != image.Pt(c.w, c.h) {
			t.Errorf("%s: %v, size %v, expected %d by %d", c.name, err, size, c.w, c.h)
			continue
		}
		x, y := c.w/4, c.h/4
		if c.redRight {
			x = 3 * c.w / 4
		}
		if c.redLow {
			y = 3 * c.h / 4
		}
		if red, _, blue, _ := img.At(x, y).RGBA(); red < 0x8000 || blue > 0x8000 {
			t.Errorf("%s: the red corner is not at %d, %d", c.name, x, y)
		}
		if bytes.Contains(data, []byte("Exif")) {
			t.Errorf("%s: what the camera wrote is still there", c.name)
		}
	}
}

// What is no picture of the folder is refused with a line, and nothing outside
// the folder is read.
func TestPhotographsThatAreNone(t *testing.T) {
	bomb := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x01\x00\x00\x00\x01\x00\x00\x08\x02\x00\x00\x00")
	r := photoJob(t, map[string][]byte{"photos/a.jpg": []byte("no picture"), "photos/bomb.png": bomb, "photos/cut.jpg": held(t, 1, binary.BigEndian)[:300]})
	if err := os.Symlink("/etc/hostname", filepath.Join(r.folder.Dir, "photos", "out.jpg")); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"photos/a.jpg", "photos/bomb.png", "photos/cut.jpg", "photos/none.jpg", "../photos/a.jpg", "/etc/hostname", "photos/out.jpg", "photos"} {
		if _, _, err := r.photo(name); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A picture that says where it was taken is known, one that says only how it was
// held, or nothing, is not. Tags 0x8825 and 0x0112, Exif 2.32.
func TestPicturesThatTellTheirPlace(t *testing.T) {
	head := func(tag string) []byte {
		return []byte("\xff\xd8\xff\xe1\x00\x22Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08\x00\x01" + tag + "\x00\x04\x00\x00\x00\x01\x00\x00\x00\x1a\x00\x00\x00\x00")
	}
	if !TellsPlace(head("\x88\x25")) {
		t.Error("its place is not seen")
	}
	for _, b := range [][]byte{head("\x01\x12"), nil, []byte("\x89PNG\r\n"), head("\x88\x25")[:20]} {
		if TellsPlace(b) {
			t.Errorf("%q tells no place", b)
		}
	}
}

// However odd its bytes, a photograph's head never stops the record.
func FuzzOrientation(f *testing.F) {
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x22Exif\x00\x00II\x2a\x00\x08\x00\x00\x00\x01\x00\x12\x01\x03\x00\x01\x00\x00\x00\x06\x00\x00\x00"))
	f.Add([]byte("\xff\xd8\xff\xe0\x00\x04ab\xff\xda"))
	f.Fuzz(func(t *testing.T, b []byte) { orientation(b); TellsPlace(b) })
}

// The canvas puts points where a page has them: turned, moved and stretched as
// asked, with y downwards in mm.
func TestCanvasTurnsAndMoves(t *testing.T) {
	c := &pdfCanvas{}
	c.state.m = affine{1, 0, 0, 1, 0, 720} // 10 inches high
	c.Translate(vg.Point{X: 72, Y: 72})
	c.Push()
	c.Rotate(math.Pi / 2)
	c.Scale(2, 1)
	if x, y := c.state.m.apply(vg.Point{X: 36, Y: 18}); math.Abs(x-(25.4-6.35)) > 1e-9 || math.Abs(y-(254-50.8)) > 1e-9 {
		t.Errorf("at %v, %v", x, y)
	}
	c.Pop()
	if x, y := c.state.m.apply(vg.Point{}); math.Abs(x-25.4) > 1e-9 || math.Abs(y-(254-25.4)) > 1e-9 {
		t.Errorf("at %v, %v", x, y)
	}
}
