// Package motion finds, in the readings of one gauge, the rests in which the
// part stands still and the gauge's own step. It is pure: times come with the
// readings.
package motion

import "math"

// Defaults of a rest; both can be set per check.
const (
	RestSeconds = 0.35
	RestCount   = 3
)

const (
	// windowSteps and windowNoise: readings that lie within
	// windowSteps*step + max(floor, windowNoise*sigma) stand still. 1.6 steps
	// let a reading flicker between two codes and not among three.
	windowSteps = 1.6
	windowNoise = 6
	// ringSize is how many readings of a rest are kept; of a longer rest the
	// last ones.
	ringSize = 256
	// ringBegin holds the rests of a quick hand.
	ringBegin = 32
	// gapSeconds: a streaming gauge that was silent for longer has lost
	// readings, and what it shows then starts a new stretch.
	gapSeconds = 2.5
	// leaveSeconds: the end of a rest that may belong to the next movement.
	leaveSeconds = 0.15
	// passed: a code of a gauge that sends on change that lasted less of a silence may
	// be one on the way, or of a creep.
	passed = 0.7
	// rounding keeps a time that was added up from falling short by its last bit.
	rounding = 1e-9
)

// Settings of a Finder. Lengths are in the unit of the readings.
type Settings struct {
	Seconds  float64 // a rest lasts at least so long; 0: RestSeconds
	Count    int     // and has so many readings; 0: RestCount
	Steps    float64 // of the window, in steps; 0: 1.6
	Floor    float64 // least window beyond the step: 2 µm for lengths
	OnChange bool    // the gauge sends only when its value changes
}

// Rest is a stretch in which the readings agree.
type Rest struct {
	FirstSeq, LastSeq uint64
	Start, End        float64 // of the first and last reading, seconds; of a gauge that sends on change, until it moved
	Count             int     // readings in it
	Wild              int     // single readings left out of it
	T                 float64 // mean time of the readings used
	Value             float64 // mean after settling: without the first third
	Scatter           float64 // standard deviation of the readings used
	Used              int     // readings used
	Low, High         float64 // range of the readings used
	Creep             float64 // change to the second half of the readings (or time) used: from the later half of the first third, or where that is less than two readings from the first half of the used
	Path              float64 // how far the readings went since the rest before
}

// Event is what a reading or a tick brought about; the bits may come together.
type Event uint8

// The events: a rest ended (Ended tells which), a rest is confirmed.
const (
	RestEnded Event = 1 << iota
	RestConfirmed
)

type sample struct {
	t, v float64
	seq  uint64
}

// Finder finds rests in the readings of one gauge. The zero value is not
// ready; use NewFinder. It allocates only where a rest is longer than any before.
type Finder struct {
	set  Settings
	step float64

	ring        []sample // a power of two long; grows to ringSize where a rest is long
	first, next int      // the candidate stretch is ring[first:next], indices grow without end
	low, high   float64  // its range
	confirmed   bool
	dropped     int // readings of a long rest that left the ring
	headSeq     uint64
	headT       float64
	wild        int  // left out of the stretch
	pending     bool // one reading outside the stretch: wild, or the first of a movement
	odd         sample
	oddCount    int

	ended Rest
	now   float64
	path  float64 // travelled since the last rest ended …
	mark  float64 // … up to here
	lastV float64

	noise   noise
	sigma   float64 // what it comes to
	between float64 // typical time between readings
	lastT   float64
	started bool
}

// NewFinder gives a finder for one gauge.
func NewFinder(s Settings) *Finder { return new(Finder).Renew(s) }

// Renew makes a finder that knows nothing of f, in its memory.
func (f *Finder) Renew(s Settings) *Finder {
	if s.Seconds <= 0 {
		s.Seconds = RestSeconds
	}
	if s.Count <= 0 {
		s.Count = RestCount
	}
	if s.Steps <= 0 {
		s.Steps = windowSteps
	}
	ring := f.ring
	if ring == nil {
		ring = make([]sample, ringBegin)
	}
	*f = Finder{set: s, ring: ring}
	return f
}

// SetStep tells the gauge's step, in the unit of the readings.
func (f *Finder) SetStep(step float64) {
	if step != f.step {
		f.step = step
		f.sigma = f.noise.sigma(step)
	}
}

// Window is the range within which readings count as standing still.
func (f *Finder) Window() float64 {
	w := windowNoise * f.sigma
	if w < f.set.Floor {
		w = f.set.Floor
	}
	return f.set.Steps*f.step + w
}

// Noise is the standard deviation of single readings at rest.
func (f *Finder) Noise() float64 { return f.sigma }

// Resting tells whether the last reading lies in a confirmed rest.
func (f *Finder) Resting() bool { return f.confirmed && !f.pending }

// InRest tells whether a confirmed rest has not ended yet.
func (f *Finder) InRest() bool { return f.confirmed }

// Between is the typical time between two readings, seconds.
func (f *Finder) Between() float64 { return f.between }

// Wild is the number of single readings left out because those before and
// after them agreed.
func (f *Finder) Wild() int { return f.oddCount }

// Reading takes one value at time t (seconds, never falling).
func (f *Finder) Reading(t, v float64, seq uint64) Event {
	gap := t - f.lastT
	f.pace(gap)
	f.travel(v)
	f.started = true
	f.lastT, f.lastV = t, v
	f.now = t
	s := sample{t, v, seq}
	var ev Event
	if !f.set.OnChange && f.next > f.first && gap > gapSeconds {
		ev |= f.close()
		f.restart(s)
		return ev
	}
	if f.next == f.first {
		f.restart(s)
		return ev | f.confirm()
	}
	w := f.Window()
	if max(f.high, v)-min(f.low, v) <= w {
		if f.pending {
			f.pending = false
			f.oddCount++
			f.wild++
		}
		f.push(s)
		if lag := f.lag(); f.next-f.first >= 3+2*lag {
			k := f.next - lag
			f.noise.agreeing(f.at(k-3).v, f.at(k-2).v, f.at(k-1).v, f.step+f.set.Floor/2, f.step, f.set.OnChange)
			f.sigma = f.noise.sigma(f.step)
		}
		return ev | f.confirm()
	}
	if !f.pending && f.next-f.first >= 2 {
		f.pending, f.odd = true, s
		return ev
	}
	wasConfirmed := f.confirmed
	ev |= f.close()
	if f.pending {
		f.pending = false
		odd := f.odd
		if wasConfirmed {
			f.restart(odd)
		} else {
			f.slide(odd, w)
		}
		f.slide(s, w)
		return ev | f.confirm()
	}
	f.slide(s, w)
	return ev | f.confirm()
}

// travel adds up the way gone outside rests. What a still gauge may flicker by is
// no way: on a fast gauge it would come to several strokes.
func (f *Finder) travel(v float64) {
	if !f.started || f.confirmed {
		f.mark = v
		return
	}
	if d := math.Abs(v - f.mark); d > max(1.05*f.step, 3*f.sigma) {
		f.path += d
		f.mark = v
	}
}

// lag is how many readings from the ends of a stretch say nothing of noise: they
// may belong to the movements before and after it.
func (f *Finder) lag() int {
	switch {
	case f.set.OnChange || f.between > 0.25:
		return 0
	case f.between > 0.12:
		return 1
	}
	return 2
}

// pace follows the time between readings. It goes down faster than up, since
// lost readings and, of a gauge that sends on change, rests make long gaps.
func (f *Finder) pace(gap float64) {
	switch {
	case !f.started || gap > gapSeconds:
	case f.between == 0:
		f.between = gap
	case gap < f.between:
		f.between += (gap - f.between) / 4
	default:
		f.between += (gap - f.between) / 64
	}
}

// silence is how long a gauge that sends on change must say nothing: a slow
// one is silent that long between two readings of a movement.
func (f *Finder) silence() float64 { return max(f.set.Seconds, 1.6*f.between) }

// Tick tells the time where no reading came; it matters to gauges that send
// only on change, whose silence is a rest.
func (f *Finder) Tick(t float64) Event {
	if !f.set.OnChange || f.next == f.first || t < f.now {
		return 0
	}
	f.now = t
	var ev Event
	if f.pending && t >= f.odd.t+f.silence()-rounding {
		ev |= f.close()
		f.pending = false
		f.restart(f.odd)
	}
	return ev | f.confirm()
}

// Deadline is when Tick is due: +Inf where it is not.
func (f *Finder) Deadline() float64 {
	switch {
	case !f.set.OnChange || f.next == f.first:
	case f.pending:
		return f.odd.t + f.silence()
	case !f.confirmed:
		return f.headT + f.silence()
	}
	return math.Inf(1)
}

// Current measures the rest that is confirmed and has not ended.
func (f *Finder) Current() Rest { return f.measure(f.now, false) }

// Ended is the rest that the last RestEnded spoke of.
func (f *Finder) Ended() Rest { return f.ended }

// Break ends whatever is under way: the gauge was lost.
func (f *Finder) Break() Event {
	ev := f.close()
	f.first, f.pending = f.next, false
	return ev
}

func (f *Finder) restart(s sample) {
	f.first = f.next
	f.low, f.high = s.v, s.v
	f.push(s)
	f.head()
}

func (f *Finder) head() {
	h := f.at(f.first)
	f.headSeq, f.headT, f.dropped, f.wild = h.seq, h.t, 0, 0
}

func (f *Finder) push(s sample) {
	if f.next-f.first == len(f.ring) {
		if len(f.ring) < ringSize {
			f.grow()
		} else {
			f.first++
			f.dropped++
		}
	}
	*f.at(f.next) = s
	f.next++
	f.low, f.high = min(f.low, s.v), max(f.high, s.v)
}

func (f *Finder) at(i int) *sample { return &f.ring[i&(len(f.ring)-1)] }

// grow doubles the ring.
func (f *Finder) grow() {
	ring := make([]sample, 2*len(f.ring))
	for i := f.first; i < f.next; i++ {
		ring[i&(len(ring)-1)] = *f.at(i)
	}
	f.ring = ring
}

// slide adds s and drops readings from the front until the stretch agrees.
func (f *Finder) slide(s sample, w float64) {
	f.push(s)
	low, high := s.v, s.v
	i := f.next - 1
	for i > f.first {
		v := f.at(i - 1).v
		l, h := min(low, v), max(high, v)
		if h-l > w {
			break
		}
		low, high = l, h
		i--
	}
	f.first, f.low, f.high = i, low, high
	f.head()
}

// close ends the stretch; a confirmed one is measured.
func (f *Finder) close() Event {
	if !f.confirmed {
		return 0
	}
	until := f.now
	if f.pending {
		until = f.odd.t
	}
	f.ended = f.measure(until, true)
	f.confirmed = false
	f.first = f.next
	// The reading that left the rest has gone its way already.
	f.path = math.Abs(f.lastV - f.ended.Value)
	return RestEnded
}

func (f *Finder) confirm() Event {
	if f.confirmed || f.next == f.first {
		return 0
	}
	span := f.at(f.next-1).t - f.headT
	n := f.next - f.first
	switch {
	case f.set.OnChange:
		if f.now < f.headT+f.silence()-rounding {
			return 0
		}
	case span < f.set.Seconds-rounding:
		return 0
	case n < f.set.Count && !(n >= 2 && f.between >= 0.3):
		// A gauge of two or three readings a second gives two readings per
		// hold; two that agree so far apart are a rest.
		return 0
	}
	f.confirmed = true
	return RestConfirmed
}
