package record_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// bySecondProgram opens the spreadsheet with LibreOffice and gives every sheet as
// it reads it, by name: numbers with all their digits, or as they are shown and
// only texts in quotes.
func bySecondProgram(t *testing.T, xlsx []byte, shown bool) map[string]string {
	t.Helper()
	dir := t.TempDir()
	keep(t, filepath.Join(dir, "r.xlsx"), xlsx)
	// Comma, quote, UTF-8, from line 1, texts quoted, as shown or not, no formulas, all sheets.
	filter := fmt.Sprintf("csv:Text - txt - csv (StarCalc):44,34,76,1,,1033,true,true,%t,false,false,-1", shown)
	cmd := exec.Command("soffice", "-env:UserInstallation=file://"+filepath.ToSlash(filepath.Join(dir, "profile")), "--headless", "--norestore",
		"--convert-to", filter, "--outdir", dir, filepath.Join(dir, "r.xlsx"))
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("soffice (apt-get install libreoffice-calc): %v %s", err, out)
	}
	files, err := filepath.Glob(filepath.Join(dir, "r-*.csv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("soffice (apt-get install libreoffice-calc) wrote nothing: %v", err)
	}
	sheets := map[string]string{}
	for _, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		sheets[strings.TrimSuffix(strings.TrimPrefix(filepath.Base(name), "r-"), ".csv")] = string(b)
	}
	return sheets
}

func table(t *testing.T, text string) (col map[string]int, rows [][]string) {
	t.Helper()
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	if err != nil || len(rows) == 0 {
		t.Fatalf("%v, %d rows", err, len(rows))
	}
	col = map[string]int{}
	for i, c := range rows[0] {
		col[c] = i
	}
	return col, rows[1:]
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	if s == "" || s == "inf" || s == "-inf" {
		return math.Inf(1)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// same tells whether two numbers agree to the 15 digits a spreadsheet keeps.
func same(a, b float64) bool {
	return a == b || math.IsInf(a, 0) && math.IsInf(b, 0) || math.Abs(a-b) <= 1e-14*math.Max(math.Abs(a), math.Abs(b))
}

// Another spreadsheet program reads the numbers of takes.csv in the takes' rows,
// as numbers; lengths also in mm and inches (1 in = 25.4 mm exactly, ISO 80000-3); and
// every rest, budget line and extra of the logs.
func TestASecondProgramReadsTheSpreadsheet(t *testing.T) {
	s := axle(t)
	xlsx := written(t, s.rec, "xlsx")
	sheets, shown := bySecondProgram(t, xlsx, false), bySecondProgram(t, xlsx, true)
	asText := regexp.MustCompile(`(?m)(^|,)"[-+]?[0-9.]+([eE][-+]?[0-9]+)?"(,|$)`)
	for name, text := range shown {
		if bad := asText.FindString(text); bad != "" {
			t.Errorf("%s: a number is a text: %s", name, bad)
		}
	}
	log := func(name string) (map[string]int, [][]string) {
		b, err := os.ReadFile(filepath.Join(s.dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return table(t, string(b))
	}
	wantCol, want := log("takes.csv")
	col, rows := table(t, sheets["takes"])
	if len(rows) != len(want) || len(want) < 12 {
		t.Fatalf("%d rows of %d takes", len(rows), len(want))
	}
	_, looks := table(t, shown["takes"])
	for i, row := range rows {
		w := func(name string) string { return want[i][wantCol[name]] }
		for sheet, name := range map[string]string{"take": "take", "result": "result", "U95": "u95", "low": "low", "high": "high", "p within": "p_in", "p below": "p_below",
			"p above": "p_above", "strokes": "strokes", "left out": "left_out", "replaces": "replaces"} {
			at, ok := col[sheet]
			if _, known := wantCol[name]; !ok || !known {
				t.Fatalf("no column %q for %q", sheet, name)
			}
			have, log := row[at], w(name)
			if name == "replaces" && log == "0" {
				log = ""
			}
			if !same(number(t, have), number(t, log)) {
				t.Errorf("take %s: %s is %q, takes.csv has %q", w("take"), sheet, have, log)
			}
		}
		for sheet, name := range map[string]string{"stage": "stage", "component": "component", "position": "position", "check": "check", "unit": "unit", "verdict": "verdict", "operator": "operator", "gauge": "gauge"} {
			if row[col[sheet]] != w(name) {
				t.Errorf("take %s: %s is %q, takes.csv has %q", w("take"), sheet, row[col[sheet]], w(name))
			}
		}
		// JCGM 100, 7.2.6: two digits of the uncertainty, the result to the same place.
		if have, want := looks[i][col["result"]]+" ± "+looks[i][col["U95"]], twoDigits(number(t, w("result")), number(t, w("u95"))); have != want {
			t.Errorf("take %s: shown as %s, expected %s", w("take"), have, want)
		}
		mm := 1.0
		if w("unit") == "in" {
			mm = 25.4
		}
		for sheet, v := range map[string]float64{"result, mm": number(t, w("result")) * mm, "U95, mm": number(t, w("u95")) * mm,
			"result, in": number(t, w("result")) * mm / 25.4, "U95, in": number(t, w("u95")) * mm / 25.4} {
			if have := number(t, row[col[sheet]]); !same(have, v) {
				t.Errorf("take %s: %s is %v, expected %v", w("take"), sheet, have, v)
			}
		}
	}
	for sheet, name := range map[string]string{"rests": "rests.csv", "budget": "budget.csv", "extras": "extras.csv"} {
		wantCol, want := log(name)
		col, rows := table(t, sheets[sheet])
		if len(rows) != len(want) {
			t.Errorf("%s: %d rows, %s has %d", sheet, len(rows), name, len(want))
			continue
		}
		for i, row := range rows {
			if v := number(t, want[i][wantCol["value"]]); !same(number(t, row[col["value"]]), v) || row[col["take"]] != want[i][wantCol["take"]] {
				t.Errorf("%s, row %d: %q, %s has %q", sheet, i+1, row, name, want[i])
			}
		}
	}
}

// A formula, a command or markup in a name is text to a second program too.
func TestASecondProgramComputesNothing(t *testing.T) {
	s := newScene(t, sceneBench, strings.NewReplacer("Tarnbeck T28", "=2+3", "left swivel pin", "=1+1", `"play in bushes"`, `'@SUM(A1:A9)'`, "limits", "positions = [\"+4+5\", \"-6-7\", \"=HYPERLINK(\\\"x\\\")\"]\nlimits").Replace(onePlay))
	for i := range 3 {
		s.measure("", 0, 0, i, 0.05, 0.002, 60)
	}
	s.end()
	col, rows := table(t, bySecondProgram(t, written(t, s.rec, "xlsx"), false)["takes"])
	for i, want := range []string{"+4+5", "-6-7", `=HYPERLINK("x")`} {
		for name, text := range map[string]string{"component": "=1+1", "check": "@SUM(A1:A9)", "position": want} {
			if got := rows[i][col[name]]; got != text {
				t.Errorf("%s is %q, expected the text %q", name, got, text)
			}
		}
	}
}
