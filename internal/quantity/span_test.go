package quantity

import (
	"testing"
	"time"
)

func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0:                               "0 s",
		4 * time.Millisecond:            "0 s",
		5 * time.Millisecond:            "0.01 s",
		300 * time.Millisecond:          "0.3 s",
		994 * time.Millisecond:          "0.99 s",
		996 * time.Millisecond:          "1 s",
		-3 * time.Second:                "3 s",
		3140 * time.Millisecond:         "3.1 s",
		9949 * time.Millisecond:         "9.9 s",
		9951 * time.Millisecond:         "10 s",
		119 * time.Second:               "119 s",
		119600 * time.Millisecond:       "2 min",
		125 * time.Second:               "2 min 5 s",
		3599400 * time.Millisecond:      "59 min 59 s",
		3599600 * time.Millisecond:      "1 h",
		3*time.Hour + 1210*time.Second:  "3 h 20 min",
		50*time.Hour + 29*time.Second:   "50 h",
		50*time.Hour + 3599*time.Second: "51 h",
	} {
		if got := Span(d); got != want {
			t.Errorf("%v is said as %q, want %q", d, got, want)
		}
	}
}
