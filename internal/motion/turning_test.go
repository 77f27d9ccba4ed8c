package motion

import (
	"encoding/csv"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"
)

// reference reads numbers of a CSV of testdata/reference, without its head; an
// empty field is NaN.
func reference(t *testing.T, name string, columns int) (rows [][]float64) {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(all), err)
	}
	for _, r := range all[1:] {
		row := make([]float64, columns)
		for i := range row {
			if row[i] = math.NaN(); r[i] == "" {
				continue
			}
			if row[i], err = strconv.ParseFloat(r[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// TestTurningPointsOfE1049: the standard's own history, its ranges one by one and
// as counted (sources in the files).
func TestTurningPointsOfE1049(t *testing.T) {
	history := reference(t, "e1049.csv", 2)
	var turns, signal []float64
	for i, r := range history {
		turns = append(turns, r[0])
		if i > 0 { // with a point on the way, which must not count
			signal = append(signal, (turns[i-1]+r[0])/2)
		}
		signal = append(signal, r[0])
	}
	var got []float64
	for _, i := range TurningPoints(signal, 0.5) {
		got = append(got, signal[i])
	}
	if !slices.Equal(got, turns) {
		t.Fatalf("turning points %v, expected %v", got, turns)
	}
	counts := map[float64]float64{}
	for k := 1; k < len(got); k++ {
		r := math.Abs(got[k] - got[k-1])
		if r != history[k-1][1] {
			t.Errorf("range %d is %v, published %v", k, r, history[k-1][1])
		}
		counts[r]++
	}
	published := reference(t, "e1049_counts.csv", 2)
	for _, r := range published {
		if counts[r[0]] != r[1] {
			t.Errorf("range %v counted %v times, published %v", r[0], counts[r[0]], r[1])
		}
	}
	if len(counts) != len(published) {
		t.Errorf("ranges %v, published %v", counts, published)
	}
}
