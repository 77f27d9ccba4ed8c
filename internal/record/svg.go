package record

import (
	"bytes"
	"fmt"
	"html"
	"regexp"

	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// svgHead is what the canvas begins with: its size is the page's to say.
var svgHead = regexp.MustCompile(`(?s)^.*?<svg width="[^"]*" height="[^"]*" (viewBox="[^"]*").*?>\n`)

// fontStack stands in for a face that a reader may lack by ones of its metrics.
var fontStack = []byte("font-family:Liberation Sans,Arial,Helvetica,sans-serif")

// svg is the picture as an element of a page.
func (p picture) svg() (string, error) {
	c := vgsvg.New(p.width, p.height)
	p.draw(draw.New(c))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return "", fmt.Errorf("%s: %w", p.about, err)
	}
	head := svgHead.FindSubmatchIndex(b.Bytes())
	if head == nil {
		return "", fmt.Errorf("%s: the drawing has no head", p.about)
	}
	open := fmt.Sprintf(`<svg %s role="img" aria-label="%s">`, b.Bytes()[head[2]:head[3]], html.EscapeString(p.about))
	body := bytes.ReplaceAll(b.Bytes()[head[1]:], []byte("font-family:Liberation Sans"), fontStack)
	return open + string(body), nil
}
