package record_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"
	"github.com/xuri/excelize/v2"

	"thouwright/internal/bench"
	"thouwright/internal/journal"
	"thouwright/internal/ledger"
	"thouwright/internal/record"
	"thouwright/internal/simulate"
	"thouwright/internal/tape"
)

const hostile = `=1+1 <script>alert(1)</script> "q" @SUM é µ Ω Ж`

// job measures a play by replaying a tape, with hostile names in the sheet.
func job(t *testing.T) *record.Record {
	t.Helper()
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	benchFile := write("bench.toml", "[[gauge]]\nname = \"dial-1\"\nport = \"tape:x\"\ndriver = \"signed-decimal\"\nunit = \"mm\"\nerror_local = \"0.001 mm over 1 mm\"\n")
	sheet := write("job.toml", fmt.Sprintf("number = \"R-7\"\ncustomer = '''%s'''\nmachine = \"=2+3\"\nstages = [\"as found\", \"assembled\"]\n[[component]]\nname = '''%s'''\n[[component.check]]\nname = \"play\"\nmethod = \"play\"\ngauge = \"dial-1\"\nlimits = \"0.020..0.150 mm\"\n", hostile, hostile))
	r := rand.New(rand.NewPCG(5, 5))
	var p simulate.Path
	hand := simulate.Hand{Hold: [2]float64{0.7, 1}, Stroke: [2]float64{0.3, 0.5}, Noise: 0.0005}
	p.Glide(4, 1)
	hand.Rock(&p, r, 5, 0.2, 8)
	f, err := os.Create(filepath.Join(dir, "dial.tape"))
	if err != nil {
		t.Fatal(err)
	}
	w, err := tape.NewWriter(f, time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range (simulate.Gauge{Step: 0.001, Rate: 10, Noise: 0.0003}).Read(&p, r) {
		if err := w.Chunk(int64(v.T*1e6), fmt.Appendf(nil, "%+.3f\r\n", v.Value)); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	folder, err := bench.Replay{BenchFile: benchFile, Job: sheet, Tapes: map[string]string{"dial-1": f.Name()},
		Dir: filepath.Join(dir, "out"), Log: zerolog.Nop()}.Run(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	loaded, err := journal.Load(folder)
	if err != nil {
		t.Fatal(err)
	}
	proof, err := bench.Verify(folder)
	if err != nil {
		t.Fatal(err)
	}
	rec, err := record.Build(loaded, proof)
	if err != nil {
		t.Fatal(err)
	}
	if len(loaded.Takes) != 1 || loaded.Takes[0].Verdict != ledger.Fail {
		t.Fatalf("takes %+v", loaded.Takes)
	}
	return rec
}

func written(t *testing.T, r *record.Record, format string) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := r.Write(&b, format, record.Options{Made: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)}); err != nil {
		t.Fatalf("%s: %v", format, err)
	}
	return b.Bytes()
}

// Names with markup and formulas come out as inert text in every format.
func TestHostileNamesAreInert(t *testing.T) {
	r := job(t)
	html := string(written(t, r, "html"))
	if strings.Contains(html, "<script") || !strings.Contains(html, "&lt;script&gt;") {
		t.Error("html: markup in a name is not inert")
	}
	rows, err := csv.NewReader(bytes.NewReader(written(t, r, "csv"))).ReadAll()
	if err != nil || len(rows) != 2 {
		t.Fatalf("csv: %v, %d rows", err, len(rows))
	}
	for i, cell := range rows[1] {
		if strings.HasPrefix(cell, "=") || strings.HasPrefix(cell, "@") {
			t.Errorf("csv: column %s would be taken for a formula: %q", rows[0][i], cell)
		}
	}
	x, err := excelize.OpenReader(bytes.NewReader(written(t, r, "xlsx")))
	if err != nil {
		t.Fatal(err)
	}
	defer x.Close()
	name, err := x.GetCellValue("takes", "D2")
	if err != nil || name != hostile {
		t.Errorf("xlsx: the component is %q (%v), want %q", name, err, hostile)
	}
	if f, err := x.GetCellFormula("takes", "D2"); err != nil || f != "" {
		t.Errorf("xlsx: the component is a formula: %q %v", f, err)
	}
	if kind, err := x.GetCellType("takes", "I2"); err != nil || kind == excelize.CellTypeSharedString || kind == excelize.CellTypeInlineString {
		t.Errorf("xlsx: the result is no number: %v %v", kind, err)
	}
}

// The PDF can be read by another program, with its text and its characters.
func TestPDFIsText(t *testing.T) {
	file := filepath.Join(t.TempDir(), "r.pdf")
	if err := os.WriteFile(file, written(t, job(t), "pdf"), 0o644); err != nil {
		t.Fatal(err)
	}
	var warned bytes.Buffer
	cmd := exec.Command("pdftotext", "-layout", file, "-")
	cmd.Stderr = &warned
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("pdftotext (apt-get install poppler-utils): %v", err)
	}
	if warned.Len() > 0 {
		t.Errorf("poppler warns: %s", &warned)
	}
	text := string(out)
	for _, want := range []string{"R-7", "é µ Ω Ж", "fail", "too loose by", "Take care", "scatter", "page 1 of"} {
		if !strings.Contains(text, want) {
			t.Errorf("the PDF does not say %q", want)
		}
	}
}

// A record of logs that were changed says so first, in every format.
func TestBrokenLogsAreSaid(t *testing.T) {
	r := job(t)
	r.Holds, r.Trouble = false, []string{"takes.csv: row 2 was changed"}
	html := string(written(t, r, "html"))
	if i, k := strings.Index(html, "do not hold"), strings.Index(html, "what was measured"); i < 0 || i > k {
		t.Error("html: broken logs are not said on the first page")
	}
	file := filepath.Join(t.TempDir(), "r.pdf")
	if err := os.WriteFile(file, written(t, r, "pdf"), 0o644); err != nil {
		t.Fatal(err)
	}
	first, err := exec.Command("pdftotext", "-l", "1", file, "-").Output()
	if err != nil || !strings.Contains(string(first), "do not hold") {
		t.Errorf("pdf: broken logs are not said on the first page (%v)", err)
	}
	rows, err := csv.NewReader(bytes.NewReader(written(t, r, "csv"))).ReadAll()
	if err != nil || len(rows) != 2 || rows[1][len(rows[1])-1] != "no" {
		t.Errorf("csv: broken logs are not said: %v %v", rows, err)
	}
	x, err := excelize.OpenReader(bytes.NewReader(written(t, r, "xlsx")))
	if err != nil {
		t.Fatal(err)
	}
	defer x.Close()
	if s, err := x.GetCellValue(x.GetSheetList()[0], "A1"); err != nil || !strings.Contains(s, "do not hold") {
		t.Errorf("xlsx: the first cell says %q (%v)", s, err)
	}
}
