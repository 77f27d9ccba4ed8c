package record_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"thouwright/internal/ledger"
	"thouwright/internal/record"
)

// paper is a scene's PDF as text, its lines joined.
func paper(t *testing.T, s *scene) string {
	t.Helper()
	var b bytes.Buffer
	if err := s.rec.Write(&b, "pdf", record.Options{Made: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC), Paper: "a4"}); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "record.pdf")
	if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(poppler(t, "pdftotext", file, "-")), " ")
}

// Several gauges lost at once are told apart.
func TestLostGaugeIsNamed(t *testing.T) {
	s := newScene(t, sceneBench, onePlay)
	for _, g := range []string{"dial-1", "mic-1"} {
		s.j.Event(ledger.Event{At: s.stamp(), Kind: ledger.EvGaugeLost, Gauge: g, Text: "nothing for 3 s"})
	}
	s.measure("", 0, 0, 0, 0.0772, 0.004, 60)
	s.end()
	for form, text := range map[string]string{"pdf": paper(t, s), "html": plainText(string(written(t, s.rec, "html")))} {
		for _, g := range []string{"dial-1", "mic-1"} {
			if !strings.Contains(text, g+": nothing for 3 s") {
				t.Errorf("%s does not say that it was %s", form, g)
			}
		}
	}
}

// The owner is told on the page with the results what ± and a hollow mark are,
// and nothing of hollow marks where there are none.
func TestOwnerIsToldWhatTheFiguresMean(t *testing.T) {
	for _, c := range []struct {
		scene                  string
		plus, counted, adjusts bool
	}{{"axle", true, true, true}, {"one pass", true, true, false}, {"nothing measured", false, false, false}} {
		s := scenes[c.scene](t)
		for form, text := range map[string]string{"pdf": paper(t, s), "html": plainText(string(written(t, s.rec, "html")))} {
			owner, _, _ := strings.Cut(text, "For the next mechanic")
			if strings.Contains(owner, "±: how far the true value may lie") != c.plus || strings.Contains(owner, "said with that counted in") != c.counted || strings.Contains(owner, "hollow mark") != c.adjusts {
				t.Errorf("%s, %s: %s", c.scene, form, owner)
			}
		}
	}
	s := newScene(t, sceneBench, strings.Replace(onePlay, "limits", "rule = \"simple\"\nlimits", 1))
	s.measure("", 0, 0, 0, 0.0772, 0.004, 60)
	if l := s.end().rec.Legend(); !strings.Contains(l, "compare the result alone") || strings.Contains(l, "counted in") {
		t.Errorf("under the simple rule: %s", l)
	}
}

// A name that the paper's typeface cannot show is said to be one; Greek,
// Cyrillic and Polish are no such names.
func TestLettersThatPaperLacks(t *testing.T) {
	const says = "not in this paper's typeface"
	if strings.Contains(paper(t, axle(t)), says) {
		t.Error("said of letters that it has")
	}
	for _, name := range []string{"玉川製作所", "machine 🚜"} {
		s := newScene(t, sceneBench, strings.Replace(onePlay, "Tarnbeck T28", name, 1))
		if !strings.Contains(paper(t, s.end()), says) {
			t.Errorf("not said of %s", name)
		}
	}
}

// A column of moments is wide enough for one, else a spreadsheet program shows
// hashes.
func TestMomentsFitTheirColumn(t *testing.T) {
	f, err := excelize.OpenReader(bytes.NewReader(written(t, axle(t).rec, "xlsx")))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for sheet, column := range map[string]string{"takes": "B", "events": "A"} {
		head, _ := f.GetCellValue(sheet, column+"1")
		shown, _ := f.GetCellValue(sheet, column+"2")
		width, err := f.GetColWidth(sheet, column)
		if err != nil || head != "time (UTC)" || width < float64(len(shown)) || len(shown) != len("2026-11-25 08:00:00") {
			t.Errorf("%s: column %q is %g wide for %q (%v)", sheet, head, width, shown, err)
		}
	}
}

// A picture of the sheet's own note is shown once, though an event states its
// sum; one that the page's note brought is its own finding.
func TestSheetPictureIsShownOnce(t *testing.T) {
	s := newScene(t, sceneBench, onePlay+"[[note]]\ntext = \"worn\"\nphoto = \"photos/seat.jpg\"\n")
	at := ledger.Tag{Component: "left swivel pin"}
	sum := strings.Repeat("ab", 32)
	s.event(ledger.EvNote, ledger.NoteText(at, "", "photos/seat.jpg", sum))
	s.event(ledger.EvNote, ledger.NoteText(at, "", "photos/lip.jpg", sum))
	var shown []string
	for _, f := range s.end().rec.Findings {
		shown = append(shown, f.Photo+" "+f.Words)
	}
	if got := strings.Join(shown, "; "); got != "photos/seat.jpg worn; photos/lip.jpg " {
		t.Errorf("findings: %s", got)
	}
}

// A sum that was kept with the job stands among the sums, with its place, and is
// no finding.
func TestKeptSumIsRecorded(t *testing.T) {
	s := newScene(t, sceneBench, onePlay)
	s.measure("", 0, 0, 0, 0.0772, 0.004, 60)
	s.event(ledger.EvNote, ledger.NoteText(ledger.Tag{Component: "left swivel pin", Check: "play in bushes"}, "sum: Bush to shaft. Given: shaft as measured 27.91 mm. Gives: finished bore 27.93..27.95 mm", "", ""))
	if n := len(s.end().rec.Findings); n != 0 {
		t.Errorf("a sum is among %d findings", n)
	}
	for form, text := range map[string]string{"pdf": paper(t, s), "html": plainText(string(written(t, s.rec, "html")))} {
		_, text, _ = strings.Cut(text, "The sums that were used")
		text = strings.Join(strings.Fields(text), " ")
		for _, want := range []string{"Bush to shaft Given: shaft as measured 27.91 mm. Gives: finished bore 27.93..27.95 mm.", "at left swivel pin, play in bushes."} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is not among the sums: %.400s", form, want, text)
			}
		}
		if strings.Contains(text, "as a command") {
			t.Errorf("%s gives a command for a kept sum", form)
		}
	}
}

// The cautions stand together on one page.
func TestCautionsStandTogether(t *testing.T) {
	s := axle(t)
	for _, size := range []string{"a4", "letter"} {
		var b bytes.Buffer
		if err := s.rec.Write(&b, "pdf", record.Options{Paper: size}); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "record.pdf")
		if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		for i, page := range strings.Split(poppler(t, "pdftotext", file, "-"), "\f") {
			if first, last := strings.Contains(page, "Take care"), strings.Contains(page, "Silence is not a pass"); first != last {
				t.Errorf("%s: on page %d of the cautions only a part", size, i+1)
			}
		}
	}
}
