package motion

import "math"

// measure gives the mean after settling. The first readings of the movement that
// ends a rest may still lie within the window, so of a rest that has ended the
// last moment is left out too. Each value of a gauge that sends on change holds
// until the next, the last one until the given time.
func (f *Finder) measure(until float64, ended bool) Rest {
	n := f.next - f.first
	if n == 0 {
		return Rest{}
	}
	last := *f.at(f.next - 1)
	r := Rest{FirstSeq: f.headSeq, LastSeq: last.seq, Start: f.headT, End: last.t, Count: n + f.dropped, Wild: f.wild, Path: f.path}
	if f.set.OnChange {
		until = max(until, last.t)
		r.End = until
		f.measureHeld(&r, until, ended)
		return r
	}
	skip := max(0, (n+f.dropped)/3-f.dropped)
	from, to := f.first+skip, f.next
	for k := (to - from) / 3; ended && k > 0 && last.t-f.at(to-1).t < leaveSeconds; k-- {
		to--
	}
	r.Used = to - from
	base := f.at(to - 1).v
	var sum, sq, st float64
	r.Low, r.High = base, base
	for i := from; i < to; i++ {
		s := f.at(i)
		d := s.v - base
		sum += d
		sq += d * d
		st += s.t - last.t
		r.Low, r.High = min(r.Low, s.v), max(r.High, s.v)
	}
	m := float64(r.Used)
	r.Value, r.T = base+sum/m, last.t+st/m
	if r.Used > 1 {
		r.Scatter = math.Sqrt(max(0, (sq-sum*sum/m)/(m-1)))
	}
	if half := r.Used / 2; half >= 2 {
		// A good part of a creep is over before the readings that are used; the
		// very first ones belong to the movement.
		begin, n := from, half
		if skip >= 2 {
			begin, n = from-skip/2, skip/2
		}
		var a, b float64
		for i := range n {
			a += f.at(begin+i).v - base
		}
		for i := range half {
			b += f.at(to-1-i).v - base
		}
		r.Creep = b/float64(half) - a/float64(n)
	}
	return r
}

// measureHeld is measure for a gauge that sends on change.
func (f *Finder) measureHeld(r *Rest, until float64, ended bool) {
	first, next, start, until := f.stood(until, ended)
	begin := start + (until-start)/3
	middle := (begin + until) / 2
	base := f.at(next - 1).v
	var sum, sq, weight float64
	r.Low, r.High = math.Inf(1), math.Inf(-1)
	for i := first; i < next; i++ {
		s := f.at(i)
		from, to := max(s.t, begin), until
		if i+1 < next {
			to = min(until, f.at(i+1).t)
		}
		if to <= from && !(i+1 == next && weight == 0) {
			continue
		}
		w, d := max(to-from, 1e-9), s.v-base
		r.Used++
		sum += w * d
		sq += w * d * d
		weight += w
		r.Low, r.High = min(r.Low, s.v), max(r.High, s.v)
	}
	m := sum / weight
	r.Value, r.T = base+m, middle
	r.Scatter = math.Sqrt(max(0, sq/weight-m*m))
	// What crept passed codes too.
	if third := (until - r.Start) / 3; third > 0 && until > middle {
		r.Creep = f.over(middle, until) - f.over(r.Start+third/2, r.Start+third)
	}
}

// over is the mean from one time to another, less that of the stretch's first code,
// where each code holds until the next.
func (f *Finder) over(from, to float64) float64 {
	var sum float64
	base := f.at(f.first).v
	for i := f.first + 1; i < f.next; i++ {
		s, end := f.at(i), to
		if i+1 < f.next {
			end = min(to, f.at(i+1).t)
		}
		sum += (s.v - base) * max(0, end-max(s.t, from))
	}
	return sum / (to - from)
}

// stood is the part of the stretch, up to the given time, without the codes that a
// part passes as it arrives or leaves: those that do not last before the code that
// lasted longest, and of a rest that has ended those after it. What flickers comes
// back to a code.
func (f *Finder) stood(until float64, ended bool) (first, next int, start, end float64) {
	lasts := func(i int) float64 {
		if i+1 < f.next {
			return f.at(i+1).t - f.at(i).t
		}
		return until - f.at(i).t
	}
	first, next = f.first, f.next
	longest := first
	for i := first + 1; i < next; i++ {
		if lasts(i) > lasts(longest) {
			longest = i
		}
	}
	among := func(v float64, from, to int) bool {
		for i := from; i < to; i++ {
			if math.Abs(f.at(i).v-v) <= f.step/2 {
				return true
			}
		}
		return false
	}
	for first < longest && lasts(first) < passed*f.silence() && !among(f.at(first).v, first+1, longest+1) {
		first++
	}
	for ended && next-1 > longest && lasts(next-1) < passed*f.silence() && !among(f.at(next-1).v, longest, next-1) {
		next--
	}
	start, end = f.headT, until
	if first > f.first {
		start = f.at(first).t
	}
	if ended { // and something is left
		end -= min(leaveSeconds, 0.25*(until-start))
	}
	if next < f.next {
		end = min(end, f.at(next).t)
	}
	return first, next, start, end
}
