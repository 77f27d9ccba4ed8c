package proving

import (
	"math"
	"math/rand/v2"
	"strconv"

	"thouwright/internal/quantity"
	"thouwright/internal/simulate"
)

// The adversary is a second model of a take, built differently from package
// simulate: a mass pushed by a hand's force against springs with damping, its
// motion integrated in time, read by a gauge whose text is written and read
// back in its own unit and number of places. What holds only for one model is
// tuned to it.

// Text is a way in which gauges write their values.
type Text struct {
	Step   float64       // of the gauge, in Unit
	Unit   quantity.Unit // MM or In: what the gauge works in
	Shown  quantity.Unit // what it sends; an inch gauge may send millimetres, rounded
	Places int
}

// Texts are the ways tried.
var Texts = []Text{
	{0.001, quantity.In, quantity.In, 3},
	{0.001, quantity.In, quantity.In, 4},
	{0.001, quantity.In, quantity.MM, 3},
	{0.0005, quantity.In, quantity.In, 4},
	{0.0005, quantity.In, quantity.In, 5},
	{0.0005, quantity.In, quantity.MM, 3},
	{0.0005, quantity.In, quantity.MM, 4},
	{0.01, quantity.MM, quantity.MM, 2},
	{0.01, quantity.MM, quantity.MM, 3},
	{0.001, quantity.MM, quantity.MM, 3},
	{0.001, quantity.MM, quantity.MM, 4},
	{0.0005, quantity.MM, quantity.MM, 4},
	{0.00002, quantity.In, quantity.In, 5},
	{0.0005, quantity.MM, quantity.MM, 5},
	{0.002, quantity.MM, quantity.MM, 3},
}

// MM is the step in mm.
func (x Text) MM() float64 {
	if x.Unit == quantity.In {
		return x.Step * 25.4
	}
	return x.Step
}

// body is the rocked part.
type body struct {
	x, v     float64 // mm, mm/s
	low      float64 // the stops
	high     float64
	friction float64 // 1/s
}

// push moves the body for dt under an acceleration (mm/s2); the stops are
// springs that turn it back within some tens of microns and damp it.
func (b *body) push(a, dt, stiff, damp float64) {
	f := a - b.friction*b.v
	if over := b.x - b.high; over > 0 {
		f -= stiff*over + damp*b.v
	} else if over := b.low - b.x; over > 0 {
		f += stiff*over - damp*b.v
	}
	b.v += f * dt
	b.x += b.v * dt
}

// DrawFoe makes one take; noise is the standard deviation of a stop in mm, play
// its size in units (steps, or 2 µm where the step is finer).
func DrawFoe(r *rand.Rand, text Text, play, noise float64) Case {
	f := Case{Step: text.MM(), Noise: noise, Strokes: 6, Rate: 2 * math.Pow(10, r.Float64()), OnChange: r.Float64() < 0.25}
	f.Play = play * f.Unit()
	var times, places []float64
	const dt = 0.0005
	stiff := 4e4 * (1 + 2*r.Float64()) // 1/s2: contact at some tens of hertz
	damp := 2 * math.Sqrt(stiff) * (0.1 + 0.5*r.Float64())
	zero := 8 * (r.Float64() - 0.5)
	b := body{x: zero, low: zero - f.Play/2, high: zero + f.Play/2, friction: 20}
	var t, stand float64
	warm, slow := 0.003*r.NormFloat64(), 60+600*r.Float64() // a slow warming, mm and s
	keep := func() {
		times = append(times, t)
		places = append(places, b.x+stand+warm*(1-math.Exp(-t/slow)))
	}
	// The set-up: the stand is moved about, then lowered onto the part.
	for end := 1 + 6*r.Float64(); t < end; t += dt {
		far := math.Max(0, 1-t/end)
		stand = 2.5 * far * math.Sin(3*t+2*math.Sin(1.7*t))
		keep()
	}
	pause := 0.3 + 2*r.Float64()
	for end := t + pause; t < end; t += dt {
		keep()
	}
	// Rocking. The hand pushes so that the part crosses in the given time, then
	// leans on the stop with a force of its own each time.
	hold := math.Max(0.4, 3.6/f.Rate)
	cross := [2]float64{0.12 + 0.3*r.Float64(), 0.12 + 0.3*r.Float64()} // seldom alike both ways
	side := 1.0
	short := 0.0
	if r.Float64() < 0.25 {
		short = 0.1
	}
	knock := 0.0
	if r.Float64() < 0.15 {
		knock = 0.06
	}
	for range 20 {
		k := 0
		if side > 0 {
			k = 1
		}
		far := noise * r.NormFloat64()
		stops := r.Float64() < short
		if side > 0 {
			b.high = zero + f.Play/2 + far
		} else {
			b.low = zero - f.Play/2 + far
		}
		if stops {
			f.Spoilt++
			less := f.Play * (0.2 + 0.6*r.Float64())
			if side > 0 {
				b.high -= less
			} else {
				b.low += less
			}
		}
		span := b.high - b.low
		speed := span / cross[k]
		lean := speed * 20
		for end := t + cross[k] + math.Max(hold, hold+(1.6*r.Float64()*r.Float64())); t < end; t += dt {
			a := 400 * (side*speed - b.v) // the hand keeps its pace …
			if math.Abs(a) > lean {
				a = math.Copysign(lean, a)
			}
			b.push(a, dt, stiff, damp)
			keep()
		}
		if r.Float64() < knock {
			f.Spoilt++
			stand += 0.6 * f.Play * r.NormFloat64()
		}
		side = -side
		// The stop just left is where it always was.
		b.low, b.high = math.Min(b.low, zero-f.Play/2), math.Max(b.high, zero+f.Play/2)
	}
	// The leaning presses the stop in by lean/stiff on either side, which is
	// the same each time: the play as gauged holds it.
	f.Play += pressed(f.Play, cross, stiff)
	text.read(&f, r, times, places)
	return f
}

// pressed is how far both stops give under the hand in the end.
func pressed(play float64, cross [2]float64, stiff float64) (sum float64) {
	for _, c := range cross {
		sum += 20 * play / c / stiff
	}
	return sum
}

// read lets the gauge look at the places and write what it sees, which is then
// read back in mm.
func (x Text) read(f *Case, r *rand.Rand, times, places []float64) {
	scale, back := 1.0, 1.0
	if x.Unit == quantity.In {
		scale = 1 / 25.4
	}
	if x.Shown == quantity.In {
		back = 25.4
	}
	f.Digit = math.Pow(10, -float64(x.Places)) * back
	truncates := r.Float64() < 0.35
	hiss := 0.35 * x.MM() * r.Float64() * r.Float64()
	lost := 0.04 * r.Float64()
	if f.OnChange {
		lost = 0
	}
	wild := 0.008 * r.Float64()
	var n1, n2 float64
	last := ""
	i := 0
	for t := times[0] + r.Float64()/f.Rate; t < times[len(times)-1]; t += (0.8 + 0.4*r.Float64()) / f.Rate {
		for i+1 < len(times) && times[i+1] <= t {
			i++
		}
		n1, n2 = 0.5*n1-0.2*n2+r.NormFloat64(), n1
		v := (places[i] + hiss*n1) * scale / x.Step
		if truncates {
			v = math.Trunc(v)
		} else {
			v = math.Round(v)
		}
		v *= x.Step
		if x.Unit == quantity.In && x.Shown == quantity.MM {
			v *= 25.4
		}
		text := strconv.FormatFloat(v, 'f', x.Places, 64)
		switch {
		case r.Float64() < lost:
			continue
		case r.Float64() < wild && len(text) > 3:
			text = text[:len(text)-1-r.IntN(2)] // a digit was lost on the way
		case f.OnChange && text == last:
			continue
		}
		last = text
		if sent, err := strconv.ParseFloat(text, 64); err == nil {
			f.Readings = append(f.Readings, simulate.Reading{T: t, Value: sent * back})
		}
	}
}

// HandleFoe is mere handling of a body that no stop holds: a hand pulls it
// about, and a spring takes it back to the very same place where it is let go.
func HandleFoe(r *rand.Rand, seconds float64) Case {
	x := Texts[r.IntN(len(Texts))]
	f := Case{Step: x.MM(), Rate: 2 * math.Pow(10, r.Float64()), OnChange: r.Float64() < 0.25}
	var times, places []float64
	var t float64
	b := body{x: 8 * (r.Float64() - 0.5), low: math.Inf(-1), high: math.Inf(1), friction: 20}
	const dt = 0.002
	pull := func(to, stiff, seconds float64) {
		for end := t + seconds; t < end; t += dt {
			b.push(stiff*(to-b.x)-1.4*math.Sqrt(stiff)*b.v, dt, 0, 0)
			times, places = append(times, t), append(places, b.x)
		}
	}
	in := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	for t < seconds {
		home, w := b.x, 0.005*math.Pow(600, r.Float64())
		stiff := 200 * math.Pow(10, r.Float64())
		switch r.IntN(5) {
		case 0: // left alone
			pull(home, stiff, 2*math.Pow(20, r.Float64()))
		case 1: // pulled about, held a while at each place
			for range 3 + r.IntN(40) {
				pull(home+w*r.NormFloat64(), stiff, in(0.4, 3))
			}
		case 2: // pushed against its spring and let go
			way := float64(2*r.IntN(2) - 1)
			for range 3 + r.IntN(12) {
				pull(home+way*w*in(0.1, 1), stiff, in(0.4, 2))
				pull(home, stiff, in(0.5, 2))
			}
		case 3: // a hand that rests on it and is not quite still
			for end := t + in(3, 40); t < end; {
				pull(b.x+0.1*w*r.NormFloat64()-0.2*(b.x-home), stiff, in(0.05, 0.5))
			}
		case 4: // carried
			for range 2 + r.IntN(10) {
				pull(in(-4, 4), stiff, in(0.3, 2))
			}
		}
	}
	x.read(&f, r, times, places)
	return f
}

// drawForces makes one take of a gauge that has the step (mm), in any of the ways
// in which such gauges write.
func drawForces(r *rand.Rand, step, play, noise float64) Case {
	var of []Text
	for _, x := range Texts {
		if math.Abs(x.MM()-step) < 0.02*step {
			of = append(of, x)
		}
	}
	x := of[r.IntN(len(of))]
	return DrawFoe(r, x, play/math.Max(x.MM(), 0.002), noise)
}
