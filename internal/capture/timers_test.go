package capture

import (
	"strings"
	"testing"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// A second gauge that says nothing more holds nothing up: told the microsecond it
// asked for, capture never asks for the same one again.
func TestTimersLetTheTimePass(t *testing.T) {
	job := strings.Replace(testJob, `gauge = "dial-1"`, "gauge = \"dial-1\"\n  minus = \"dial-2\"", 1)
	for _, began := range []int64{0, 7_700_000, 1e13} { // 1e13 µs: a service that has run for four months
		var out Out
		c := New(sheetOf(t, job, 1), Resume{}, ledger.Stamp{}, &out)
		for i := range int64(300) {
			at := ledger.Stamp{Elapsed: began + i*100_003}
			for n, d := 0, c.Deadline(); d <= at.Elapsed; d = c.Deadline() {
				if n++; n > 10 {
					t.Fatalf("the timer due at %d µs goes off again and again", d)
				}
				c.Tick(ledger.Stamp{Elapsed: d}, &out)
			}
			gauge := "dial-1"
			if i == 0 {
				gauge = "dial-2"
			}
			v := quantity.Decimal{Coef: uint64(i / 8 % 2 * 100), Scale: 3}
			c.Readings([]ledger.Reading{{At: at, Gauge: gauge, Value: v, HasVal: true, Unit: quantity.MM, Step: 0.001}}, &out)
		}
	}
}
