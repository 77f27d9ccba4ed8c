package demo

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"time"
)

// gauge is a simulated digital gauge: it sends what its foot rests on, as text,
// at its own pace.
type gauge struct {
	name   string
	hand   *hand
	step   float64 // in its own unit
	scale  float64 // its own unit in mm (or N)
	places int
	rate   float64 // readings a second
	noise  float64
}

// line is one reading as it goes over the wire.
func (g *gauge) line(r *rand.Rand) string {
	v := (g.hand.at() + g.noise*r.NormFloat64()) / g.scale
	v = math.Round(v/g.step) * g.step
	return fmt.Sprintf("%+.*f\r\n", g.places, v)
}

// run sends readings into w until ctx is done.
func (g *gauge) run(ctx context.Context, w io.Writer, after func(time.Duration) <-chan time.Time, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 28))
	for {
		select {
		case <-ctx.Done():
			return
		case <-after(time.Duration(float64(time.Second) / g.rate * (0.9 + 0.2*r.Float64()))):
		}
		if _, err := io.WriteString(w, g.line(r)); err != nil {
			return
		}
	}
}
