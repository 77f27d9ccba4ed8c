package record

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"io"
	"os"
	"path/filepath"

	"codeberg.org/go-pdf/fpdf"
	xdraw "golang.org/x/image/draw"

	"thouwright/internal/journal"
)

// photoEdge is the longer side of a photograph in a document, pixels.
const photoEdge = 1400

// photo reads a photograph of the job's folder and makes of it a picture that
// every reader shows alike: upright, of a sensible size, without what the camera
// wrote about itself and where it was. A name that leads out of the folder, or a
// file that is no picture, is refused.
func (r *Record) photo(name string) (data []byte, size image.Point, err error) {
	if !filepath.IsLocal(name) {
		return nil, size, fmt.Errorf("photograph %q lies outside the job's folder", name)
	}
	root, err := os.OpenRoot(r.folder.Dir)
	if err != nil {
		return nil, size, err
	}
	defer root.Close()
	f, err := root.Open(name)
	if err != nil {
		return nil, size, err
	}
	defer f.Close()
	raw, err := io.ReadAll(io.LimitReader(f, journal.MostPhoto+1))
	if err != nil {
		return nil, size, err
	}
	if len(raw) > journal.MostPhoto {
		return nil, size, fmt.Errorf("photograph %q: %w", name, journal.ErrPhoto)
	}
	if _, err := journal.IsPhoto(bytes.NewReader(raw)); err != nil {
		return nil, size, fmt.Errorf("photograph %q: %w", name, err)
	}
	img, _, err := image.Decode(bytes.NewReader(raw))
	if err != nil {
		return nil, size, fmt.Errorf("photograph %q: %w", name, err)
	}
	img = upright(smaller(img), orientation(raw))
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 85}); err != nil {
		return nil, size, err
	}
	return b.Bytes(), img.Bounds().Size(), nil
}

// smaller brings a picture down to photoEdge, on white where it is clear.
func smaller(img image.Image) *image.RGBA {
	s := img.Bounds().Size()
	w, h := s.X, s.Y
	if long := max(w, h); long > photoEdge {
		w, h = max(1, w*photoEdge/long), max(1, h*photoEdge/long)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	xdraw.ApproxBiLinear.Scale(out, out.Bounds(), img, img.Bounds(), xdraw.Over, nil)
	return out
}

// upright turns a picture as its camera says it was held (Exif 2.32, tag 0x0112).
func upright(img *image.RGBA, o int) *image.RGBA {
	if o < 2 || o > 8 {
		return img
	}
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	size := image.Rect(0, 0, w, h)
	if o >= 5 {
		size = image.Rect(0, 0, h, w)
	}
	out := image.NewRGBA(size)
	for y := range h {
		for x := range w {
			u, v := x, y
			switch o {
			case 2:
				u = w - 1 - x
			case 3:
				u, v = w-1-x, h-1-y
			case 4:
				v = h - 1 - y
			case 5:
				u, v = y, x
			case 6:
				u, v = h-1-y, x
			case 7:
				u, v = h-1-y, w-1-x
			case 8:
				u, v = y, w-1-x
			}
			out.SetRGBA(u, v, img.RGBAAt(x, y))
		}
	}
	return out
}

// photoPlace is a photograph on a page, mm.
type photoPlace struct {
	name          string
	width, height float64
}

// photograph registers a picture of the job's folder; ok is false where there is
// none to show.
func (p *pdf) photograph(name string) (pic photoPlace, ok bool) {
	if name == "" {
		return pic, false
	}
	data, size, err := p.r.photo(name)
	if err != nil {
		return pic, false
	}
	pic = photoPlace{name, 70, 70 * float64(size.Y) / float64(size.X)}
	if most := 50.0; pic.height > most {
		pic.width, pic.height = pic.width*most/pic.height, most
	}
	p.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPEG"}, bytes.NewReader(data))
	return pic, true
}

func (p *pdf) image(pic photoPlace, x, y float64) {
	p.ImageOptions(pic.name, x, y, pic.width, pic.height, false, fpdf.ImageOptions{ImageType: "JPEG"}, 0, "")
}
