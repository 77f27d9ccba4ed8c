package quantity

import (
	"fmt"
	"time"
)

// Span is a length of time as one says it: "0.25 s", "3 s", "2 min 5 s", "3 h 20
// min". It is rounded to what matters at its length.
func Span(d time.Duration) string {
	switch d = d.Abs(); {
	case d < 995*time.Millisecond:
		return fmt.Sprintf("%g s", d.Round(10*time.Millisecond).Seconds())
	case d < 9950*time.Millisecond:
		return fmt.Sprintf("%g s", d.Round(100*time.Millisecond).Seconds())
	case d < 119500*time.Millisecond:
		return fmt.Sprintf("%d s", int(d.Round(time.Second)/time.Second))
	case d < time.Hour-500*time.Millisecond:
		return inTwo(d.Round(time.Second), time.Minute, "min", time.Second, "s")
	}
	return inTwo(d.Round(time.Minute), time.Hour, "h", time.Minute, "min")
}

func inTwo(d, large time.Duration, name string, small time.Duration, rest string) string {
	s := fmt.Sprintf("%d %s", d/large, name)
	if n := d % large / small; n > 0 {
		s += fmt.Sprintf(" %d %s", n, rest)
	}
	return s
}
