package record_test

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"html"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"thouwright/internal/record"
)

// TestDocuments makes the PDF (on both papers) and the page of every scene and
// reads them back with other programs. RECORD_SCENES=DIR keeps them for the eye.
func TestDocuments(t *testing.T) {
	out := os.Getenv("RECORD_SCENES")
	if out == "" {
		out = t.TempDir()
	}
	for name, set := range scenes {
		t.Run(name, func(t *testing.T) {
			s := set(t)
			base := filepath.Join(out, strings.ReplaceAll(name, " ", "-"))
			page := string(written(t, s.rec, "html"))
			keep(t, base+".html", []byte(page))
			pageIsPlain(t, page)
			everyResult(t, s.dir, "html", plainText(page))
			for _, paper := range []string{"a4", "letter"} {
				var b bytes.Buffer
				if err := s.rec.Write(&b, "pdf", record.Options{Made: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC), Paper: paper}); err != nil {
					t.Fatal(err)
				}
				file := base + "-" + paper + ".pdf"
				keep(t, file, b.Bytes())
				pdfIsSound(t, file, s.rec.Title())
				insideThePage(t, file)
				everyResult(t, s.dir, "pdf", poppler(t, "pdftotext", "-layout", file, "-"))
			}
		})
	}
}

func keep(t *testing.T, file string, b []byte) {
	t.Helper()
	if err := os.WriteFile(file, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// poppler runs one of its programs, which must have nothing to complain of.
func poppler(t *testing.T, name string, args ...string) string {
	t.Helper()
	var warned bytes.Buffer
	cmd := exec.Command(name, args...)
	cmd.Stderr = &warned
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s (apt-get install poppler-utils): %v %s", name, err, &warned)
	}
	if warned.Len() > 0 {
		t.Errorf("%s warns: %s", name, &warned)
	}
	return string(out)
}

// pdfIsSound: opened, searched and drawn without a warning; titled; its fonts
// embedded with their characters; its pages numbered n of m; its outline there.
func pdfIsSound(t *testing.T, file, title string) {
	t.Helper()
	info := poppler(t, "pdfinfo", file)
	if !strings.Contains(info, "Title:           "+title) {
		t.Errorf("the title is not %q:\n%s", title, info)
	}
	pages, _ := strconv.Atoi(regexp.MustCompile(`Pages:\s+(\d+)`).FindStringSubmatch(info)[1])
	poppler(t, "pdftoppm", "-r", "20", "-png", file, filepath.Join(t.TempDir(), "page"))
	for i, line := range strings.Split(strings.TrimSpace(poppler(t, "pdffonts", file)), "\n")[2:] {
		f := strings.Fields(line)
		if n := len(f); n < 5 || f[n-5] != "yes" || f[n-3] != "yes" {
			t.Errorf("font %d is not embedded with its characters: %s", i, line)
		}
	}
	texts := strings.Split(poppler(t, "pdftotext", file, "-"), "\f")
	for n := 1; n <= pages; n++ {
		if want := fmt.Sprintf("page %d of %d", n, pages); !strings.Contains(texts[n-1], want) {
			t.Errorf("page %d does not say %q", n, want)
		}
	}
	owner, _, _ := strings.Cut(strings.Join(texts, "\f"), "For the next mechanic")
	if dots := regexp.MustCompile(`\d\.\.\d`).FindString(owner); dots != "" {
		t.Errorf("the owner's pages hold a notation: %q", dots)
	}
	outline := poppler(t, "pdftohtml", "-xml", "-i", "-stdout", file)
	for _, want := range []string{"For the owner", "For the next mechanic", "Proof"} {
		if !regexp.MustCompile(`<item page="\d+">` + want + `</item>`).MatchString(outline) {
			t.Errorf("no bookmark %q", want)
		}
	}
}

// insideThePage: no word beyond the text's edges, none over another, and no
// heading at the foot of a page.
func insideThePage(t *testing.T, file string) {
	t.Helper()
	type word struct {
		X0   float64 `xml:"xMin,attr"`
		Y0   float64 `xml:"yMin,attr"`
		X1   float64 `xml:"xMax,attr"`
		Y1   float64 `xml:"yMax,attr"`
		Text string  `xml:",chardata"`
	}
	var doc struct {
		Pages []struct {
			Width  float64 `xml:"width,attr"`
			Height float64 `xml:"height,attr"`
			Words  []word  `xml:"word"`
		} `xml:"body>doc>page"`
	}
	if err := xml.Unmarshal([]byte(poppler(t, "pdftotext", "-bbox", file, "-")), &doc); err != nil {
		t.Fatal(err)
	}
	const side, foot = 17 * 72 / 25.4, 19 * 72 / 25.4
	for n, p := range doc.Pages {
		last := 0.0 // the height of the lowest word above the foot
		low := 0.0
		for i, w := range p.Words {
			if w.X0 < side-1 || w.X1 > p.Width-side+1.5 || w.Y0 < 0 || w.Y1 > p.Height {
				t.Errorf("page %d: %q lies outside: %.0f to %.0f of %.0f, down to %.0f of %.0f", n+1, w.Text, w.X0, w.X1, p.Width, w.Y1, p.Height)
			}
			if w.Y1 < p.Height-foot+2 && w.Y1 > low {
				low, last = w.Y1, w.Y1-w.Y0
			}
			for _, v := range p.Words[:i] {
				x := math.Min(w.X1, v.X1) - math.Max(w.X0, v.X0)
				y := math.Min(w.Y1, v.Y1) - math.Max(w.Y0, v.Y0)
				if x > 1 && y > 0.45*math.Min(w.Y1-w.Y0, v.Y1-v.Y0) {
					t.Errorf("page %d: %q and %q overlap", n+1, v.Text, w.Text)
				}
			}
		}
		if last > 12.4*1.1 {
			t.Errorf("page %d ends with a heading", n+1)
		}
	}
}

// pageIsPlain: nothing that runs or is fetched, and no notation before the
// mechanic's part.
func pageIsPlain(t *testing.T, page string) {
	t.Helper()
	for _, bad := range []string{"<script", "http://", "https://", "<link", "@import", "javascript:", "<img src=x", "<svg onload", "' onload"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	owner, _, ok := strings.Cut(page, "<main>")
	if dots := regexp.MustCompile(`\d\.\.\d`).FindString(owner); dots != "" || !ok {
		t.Errorf("the owner's part holds a notation: %q", dots)
	}
}

var tags = regexp.MustCompile(`(?s)<style.*?</style>|<[^>]*>`)

func plainText(page string) string {
	return html.UnescapeString(tags.ReplaceAllString(strings.ReplaceAll(page, "</", " </"), ""))
}

// everyResult: for each row of takes.csv the document says the result with its
// uncertainty, rounded here once more by the uncertainty (JCGM 100, 7.2.6: two
// digits of it, the result to the same place), and the same in the other system
// of length.
func everyResult(t *testing.T, dir, format, text string) {
	t.Helper()
	text = strings.Join(strings.Fields(text), " ")
	b, err := os.ReadFile(filepath.Join(dir, "takes.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	col := map[string]int{}
	for i, c := range rows[0] {
		col[c] = i
	}
	for _, row := range rows[1:] {
		get := func(name string) float64 {
			v, err := strconv.ParseFloat(row[col[name]], 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		unit := row[col["unit"]]
		want := []string{"Take " + row[col["take"]], twoDigits(get("result"), get("u95")) + " " + unit}
		switch unit {
		case "mm":
			want = append(want, twoDigits(get("result")/25.4, get("u95")/25.4)+" in")
		case "in":
			want = append(want, twoDigits(get("result")*25.4, get("u95")*25.4)+" mm")
		}
		for _, w := range want {
			if !strings.Contains(text, w) {
				t.Errorf("%s: take %s: %q is not said", format, row[col["take"]], w)
			}
		}
	}
}

// twoDigits writes 'v ± u' with two significant digits of u.
func twoDigits(v, u float64) string {
	mantissa := strconv.FormatFloat(u, 'e', 1, 64) // d.de±xx: rounded to two digits
	e, _ := strconv.Atoi(mantissa[strings.IndexByte(mantissa, 'e')+1:])
	places := max(0, 1-e)
	return strings.Replace(fmt.Sprintf("%.*f ± %.*f", places, v, places, u), "-", "\u2212", 1)
}

// Drawings are lines: the only images are photographs.
func TestPlotsAreLines(t *testing.T) {
	file := filepath.Join(t.TempDir(), "r.pdf")
	keep(t, file, written(t, axle(t).rec, "pdf"))
	list := strings.Split(strings.TrimSpace(poppler(t, "pdfimages", "-list", file)), "\n")
	if len(list) != 3 || !strings.Contains(list[2], "800") {
		t.Errorf("expected one image, the photograph:\n%s", strings.Join(list, "\n"))
	}
}
