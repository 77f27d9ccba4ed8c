package method

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestCosine checks the correction for a known tilt against published cosines,
// and the printed example of 60 degrees: a reading of 0.004 in is 0.002 in
// (sources and how verified: in the file).
func TestCosine(t *testing.T) {
	f, err := os.Open("../../testdata/reference/cosine.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 11 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, r := range rows[1:] {
		angle, err1 := strconv.ParseFloat(strings.TrimSuffix(strings.TrimPrefix(r[2], "theta="), " deg"), 64)
		want, err2 := strconv.ParseFloat(r[3], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("row %v", r)
		}
		if got, _ := (Spec{TiltDeg: angle}).angled(1, nil); math.Abs(got-want) > 6e-7 {
			t.Errorf("tilt %v deg: a reading of 1 is %v, published %v", angle, got, want)
		}
		// A movement off the gauge's line reads short: the truth is longer.
		if got, _ := (Spec{DirectionDeg: angle}).angled(want, nil); math.Abs(got-1) > 2e-6 {
			t.Errorf("direction %v deg: a reading of %v is %v, published 1", angle, want, got)
		}
		// Bounded only: both ends of what it may be lie within the rectangle.
		factor, half := Spec{TiltMax: angle, DirectionMax: angle}.angles()
		for _, end := range []float64{want, 1 / want} {
			if math.Abs(end-factor) > half+2e-6/want {
				t.Errorf("up to %v deg: %v lies outside %v ± %v", angle, end, factor, half)
			}
		}
	}
	if got, _ := (Spec{TiltDeg: 60}).angled(0.004, nil); math.Abs(got-0.002) > 1e-12 {
		t.Errorf("0.004 in at 60 deg is %v in, published 0.002", got)
	}
}
