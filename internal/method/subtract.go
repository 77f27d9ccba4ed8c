package method

import "math"

// subtract puts two gauges on a common time base before rests are sought: each
// reading of the first, less the second's reading at that moment, drawn by a
// straight line between its neighbours.
type subtract struct {
	Machine
	queue [subtractQueue]Reading // readings of the first that wait for the second
	first int
	next  int
	a, b  Reading // the second gauge's last two readings
	have  int
}

const (
	subtractQueue = 256
	// subtractWait: a second gauge that says nothing for so long holds its
	// last value (it may send only on change).
	subtractWait = 0.5
	// subtractLine: readings further apart are not joined by a straight line.
	subtractLine = 2.0
)

func newSubtract(m Machine) *subtract { return &subtract{Machine: m} }

func (s *subtract) Reading(r Reading, out *Out) {
	if r.Minus {
		if r.Fault || math.IsNaN(r.Value) {
			return
		}
		s.a, s.b = s.b, r
		s.have++
		s.flush(r.T, out)
		return
	}
	if s.next-s.first == subtractQueue {
		s.emit(out)
	}
	s.queue[s.next%subtractQueue] = r
	s.next++
	s.overdue(r.T, out)
	if s.have > 0 && s.b.T >= r.T {
		s.flush(s.b.T, out)
	}
}

// waiting is the first reading that waits for the second gauge.
func (s *subtract) waiting() (r *Reading, ok bool) {
	return &s.queue[s.first%subtractQueue], s.first < s.next
}

// flush sends on what was read up to time t.
func (s *subtract) flush(t float64, out *Out) {
	for r, ok := s.waiting(); ok && r.T <= t; r, ok = s.waiting() {
		s.emit(out)
	}
}

// overdue sends on what has waited long enough at time t. The sum is the one
// that Deadline gives: a difference may fall short of it by its last bit, and
// then the timer would be due for ever.
func (s *subtract) overdue(t float64, out *Out) {
	for r, ok := s.waiting(); ok && r.T+subtractWait <= t; r, ok = s.waiting() {
		s.emit(out)
	}
}

func (s *subtract) emit(out *Out) {
	r := s.queue[s.first%subtractQueue]
	s.pass(r.T, out)
	s.first++
	if s.have == 0 {
		return // nothing to subtract yet
	}
	v := s.b.Value
	if gap := s.b.T - s.a.T; s.have > 1 && gap > 0 && gap < subtractLine && r.T < s.b.T {
		v = s.a.Value + (s.b.Value-s.a.Value)*math.Max(0, r.T-s.a.T)/gap
	}
	r.Value -= v
	r.step2, r.second = s.b.Step, v
	s.Machine.Reading(r, out)
}

// pass runs the machine's own timers up to time t.
func (s *subtract) pass(t float64, out *Out) {
	for d := s.Machine.Deadline(); d <= t; {
		s.Machine.Tick(d, out)
		was := d
		if d = s.Machine.Deadline(); d <= was {
			return
		}
	}
}

// Tick lets the machine know of the time only up to the first reading that still
// waits: a gauge that sends on change is silent only where nothing is on its way.
func (s *subtract) Tick(t float64, out *Out) {
	s.overdue(t, out)
	if r, ok := s.waiting(); ok {
		t = math.Min(t, r.T)
	}
	s.pass(t, out)
}

func (s *subtract) Deadline() float64 {
	d := s.Machine.Deadline()
	if r, ok := s.waiting(); ok && d > r.T {
		return r.T + subtractWait
	}
	return d
}
