package method

import (
	"math"
	"slices"
)

// series is a run of turning points sorted into good ones and others. It is
// reused from one evaluation to the next.
type series struct {
	turns   []turn
	points  []point  // one per turning point
	reasons []string // why a point is not used
	strokes int      // good strokes: both ends used, on one level
	leftOut int
	longer  int     // strokes that went further just before the run
	typical float64 // median stroke
	fit     line
	chance  float64 // log of the probability that aimless ends would look like this
	doubt   float64 // and that any handling would
	scatter float64 // of the rests, at least what the step makes
	strange float64 // what of chance and doubt comes of what is strange in rocking
	detour  float64 // median of the way gone over the stroke's length

	side          [2]tail // low, high
	aimless, home float64 // what of the chance does not depend on the scatter
	lengths, work []float64
}

// room makes room for so many turning points.
func (s *series) room(n int) {
	f := make([]float64, 2*n)
	s.lengths, s.work = f[:0:n], f[n:n:2*n]
	s.points, s.reasons = make([]point, 0, n), make([]string, 0, n)
	s.fit.ends = make([]mean, 0, 4)
}

// reuse takes the room that another series has.
func (s *series) reuse(o *series) {
	s.lengths, s.work, s.points, s.reasons = o.lengths[:0], o.work[:0], o.points[:0], o.reasons[:0]
	s.fit.ends = o.fit.ends[:0]
}

const (
	// groupLimit: the closest half of normally scattered strokes is 1.35 standard
	// deviations wide; a stroke 3.5 of them from it is looked at, and what the fit of the others cannot
	// explain is left out.
	groupLimit = 2.6
	// shareAgreeing of the strokes, at least, must agree.
	shareAgreeing = 0.6

	reasonShort = "stopped short"
	reasonFar   = "went further than the others"
	reasonKnock = "beside a knock"
)

// sort finds short strokes and knocks among the turning points. Candidates are
// found by the median and the median absolute deviation of the strokes, with a
// floor; each is taken back in where the fit of the others could explain it,
// because leaving out what merely scatters would make the scatter too small.
// It reports false where the strokes are no series at all.
func (s *series) sort(turns []turn, floor float64) bool {
	n := len(turns)
	s.turns, s.strokes, s.leftOut, s.chance = turns, 0, 0, 0
	s.fit = line{ends: s.fit.ends}
	if n < 3 {
		return false
	}
	s.lengths, s.work = s.lengths[:0], s.work[:0]
	for k := range n - 1 {
		s.lengths = append(s.lengths, math.Abs(turns[k+1].Value-turns[k].Value))
	}
	limit := s.densest(floor)
	good := func(k int) bool { return math.Abs(s.lengths[k]-s.typical) <= limit }
	agreeing := 0
	for k := range s.lengths {
		if good(k) {
			agreeing++
		}
	}
	if !good(0) || float64(agreeing) < shareAgreeing*float64(n-1) {
		return false
	}
	s.points, s.reasons = s.points[:0], s.reasons[:0]
	level := 0
	at := [2]int{-1, -1} // the last used rest of each side on this level
	for k, t := range turns {
		p := point{t: t.T, y: t.Value, side: t.side, used: true}
		reason := ""
		own, other := sideOf(t.side), 1-sideOf(t.side)
		switch {
		case k == 0, good(k-1) && s.points[k-1].used:
		case at[own] >= 0 && math.Abs(t.Value-turns[at[own]].Value) <= limit:
			// Back where this side was before.
		case at[own] < 0 && at[other] >= 0 && math.Abs(math.Abs(t.Value-turns[at[other]].Value)-s.typical) <= limit:
		case k < n-1 && good(k) && !(at[other] >= 0 && math.Abs(turns[k+1].Value-turns[at[other]].Value) <= limit):
			// A good stroke begins here, between other stops: the stand was knocked.
			level++
			at = [2]int{-1, -1}
		default:
			p.used = false
			reason = reasonShort
			if at[own] >= 0 && (t.Value-turns[at[own]].Value)*t.side > 0 {
				reason = reasonFar
			}
		}
		if p.used {
			at[own] = k
		}
		p.level = level
		s.points = append(s.points, p)
		s.reasons = append(s.reasons, reason)
	}
	s.fit = fitPlay(s.points, s.fit.ends)
	s.takeBack(floor)
	for k := 1; k < n; k++ {
		a, b := s.points[k-1], s.points[k]
		if a.used && b.used && a.level == b.level {
			s.strokes++
		} else {
			s.leftOut++
		}
	}
	return s.fit.ok
}

// takeBack uses again what the fit of the others explains.
func (s *series) takeBack(floor float64) {
	if !s.fit.ok {
		return
	}
	least := floor / 3
	for k := range s.points {
		p := s.points[k]
		if p.used || p.level >= len(s.fit.ends) || s.fit.ends[p.level].n == 0 {
			continue
		}
		limit := quantileOf(&student999, s.fit.sdDof) * max(s.fit.sd, least) * s.fit.leverage(p)
		if math.Abs(s.fit.residual(p)) <= min(limit, 0.4*s.typical) {
			s.points[k].used, s.reasons[k] = true, ""
			s.fit = fitPlay(s.points, s.fit.ends)
			if !s.fit.ok {
				return
			}
		}
	}
	for level := len(s.fit.ends) - 1; level > 0; level-- {
		s.joinLevels(level, least)
	}
}

// joinLevels makes one of two levels that differ by no more than scatter.
func (s *series) joinLevels(level int, least float64) {
	a, b := s.fit.ends[level-1], s.fit.ends[level]
	if a.n == 0 || b.n == 0 {
		return
	}
	f := &s.fit
	gap := (b.y - a.y) - f.play*(b.side-a.side)/2 - f.drift*(b.t-a.t)
	ds, dt := (b.side-a.side)/2, b.t-a.t
	wide := math.Sqrt(1/a.n + 1/b.n + ds*ds*f.cross[0] + 2*ds*dt*f.cross[1] + dt*dt*f.cross[2])
	if math.Abs(gap) > min(quantileOf(&student999, f.sdDof)*max(f.sd, least)*wide, 0.4*s.typical) {
		return
	}
	for i := range s.points {
		if s.points[i].level >= level {
			s.points[i].level--
		}
	}
	s.fit = fitPlay(s.points, s.fit.ends)
}

// densest sets the typical stroke to the middle of the closest group of more than
// half of the strokes, which a fifth of short ones does not move as it moves the
// median, and gives how far from it a stroke may be.
func (s *series) densest(floor float64) (limit float64) {
	s.work = append(s.work[:0], s.lengths...)
	slices.Sort(s.work)
	n := len(s.work)
	h := n/2 + 1
	best, width := 0, s.work[h-1]-s.work[0]
	for i := 1; i+h <= n; i++ {
		if w := s.work[i+h-1] - s.work[i]; w < width {
			best, width = i, w
		}
	}
	s.typical = middle(s.work[best : best+h])
	s.work = s.work[:0]
	return max(floor, groupLimit*width)
}

// middle is the median of a sorted sample.
func middle(v []float64) float64 {
	if n := len(v); n%2 == 0 {
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[len(v)/2]
}

// rate works out how likely mere handling would be to look like this series.
// Handling is of two kinds. Aimless ends fall anywhere: they turn round at every
// rest by chance, and agree by chance on both sides. What is pushed or lifted and
// let go comes home to one side every time, so that only the other side agrees by
// chance. Ends spread evenly over some reach turn round with a scatter of about 0.3
// of their distance, so an agreement by chance is the lower tail of chi-square; it
// is, but for a factor, the likelihood ratio against stops whose scatter may be
// anything below that. Each way of leaving some out, each way of placing knocks, each
// pause on the way, and each stroke of like size just before, at which the run could
// have begun, counts; so does what is strange in rocking: other strokes before, holds
// without a rhythm, one side that scatters more than the other. The unit is what a gauge
// can repeat.
func (s *series) rate(step, unit float64, before, alike int) {
	n := len(s.points)
	levels := s.points[n-1].level
	used, paused := 0, 0
	s.side = [2]tail{{lost: levels / 2}, {lost: (levels + 1) / 2}}
	// Ends that wander off have no drift that can be taken out.
	excess := math.Copysign(max(0, math.Abs(s.fit.drift)-mostDrift*unit/60), s.fit.drift)
	for i, p := range s.points {
		t := &s.turns[i]
		if i > 0 && p.level == s.points[i-1].level {
			paused += t.paused // what a knock cut short is counted with the knock
		}
		if p.used {
			used++
			away := excess * (p.t - s.fit.ends[p.level].t)
			s.side[sideOf(p.side)].add(s.fit.residual(p)+away, max(0, t.High-t.Low-step))
		}
	}
	ways := logChoose(n, n-used) + logChoose(n-1, levels) + logChoose(n+paused, paused) + math.Log(float64(max(1, alike)))
	s.scatter = math.Sqrt(max(s.fit.rss/float64(s.fit.dof), step*step/12))
	s.strange = beforeCost*float64(min(before, beforeMost)) + rhythmCost*s.unsteady() + s.uneven(step)
	ways += s.strange
	// Of all orders of n ends 4 (2/pi)^(n+1) go up and down in turn (André).
	s.aimless = math.Log(4) + float64(used+1)*math.Log(2/math.Pi) + ways
	s.home = homeShare + ways
	s.chance, s.doubt = s.chanceOf(s.side[0].scatter(step), s.side[1].scatter(step))
	s.work = s.work[:0]
	for i, l := range s.lengths {
		s.work = append(s.work, s.turns[i+1].Path/max(l, step))
	}
	slices.Sort(s.work)
	s.detour = middle(s.work)
	s.work = s.work[:0]
}

const (
	aimlessScatter = 0.3
	// homeShare is how much of all handling comes home to one side (natural
	// logarithm), and homePower how heavily it weighs that the other side agrees, where
	// that is all there is; no source.
	homeShare = -4.5
	homePower = 1.5
	// mostDrift is as many units a minute as a gauge and a part drift; what moves off
	// faster is taken for scatter when the agreement is judged.
	mostDrift = 2.0
	// Whoever rocks has a rhythm. The holds of handling scatter by a factor of 1.5, those
	// of a hand that rocks by one of 1.1 to 1.35; natural logarithms, each side by itself.
	rhythmCost = 3.0
	// Whoever rocks has just set up and starts; handling has gone on for a while.
	beforeCost = 0.2 // each stroke in beforeSeconds
	beforeMost = 10
	// A hand leans on both stops alike, so that their scatters are alike; what comes
	// home to one side by itself scatters on the other only. The tail of Fisher's F
	// with the 2 and 3 degrees of freedom of seven rests, (1 + 2F/3)^(-3/2), to the
	// power of unevenPower, and nothing for what chance does all the time.
	unevenPower = 1.5
	unevenUsual = 1.5
)

// unsteady is by how much the holds differ, each side by itself: the standard
// deviations of their logarithms, summed. The last still lasts, and one with a pause
// before it may be two.
func (s *series) unsteady() (sum float64) {
	for k := range 2 {
		var n, mean, sq float64
		for _, t := range s.turns[:len(s.turns)-1] {
			if sideOf(t.side) == k && t.paused == 0 {
				l := math.Log(max(t.End-t.Start, 0.05))
				n++
				d := l - mean
				mean += d / n
				sq += d * (l - mean)
			}
		}
		sum += math.Sqrt(sq / max(1, n))
	}
	return sum
}

// uneven is how much the scatters of the two sides differ, as a logarithm.
func (s *series) uneven(step float64) float64 {
	a, b := s.side[0].scatter(step), s.side[1].scatter(step)
	f := max(a, b) / min(a, b)
	return unevenPower * max(0, 1.5*math.Log(1+2*f*f/3)-unevenUsual)
}

// tail is how the rests of one side agree.
type tail struct {
	n, sum, sq float64 // of the residuals
	lost       int     // degrees of freedom that went into the levels between knocks
	own        float64 // how far the readings of a rest go apart beyond a step, summed
}

func sideOf(side float64) int {
	if side > 0 {
		return 1
	}
	return 0
}

func (t *tail) add(residual, own float64) {
	t.n++
	t.sum += residual
	t.sq += residual * residual
	t.own += own
}

// dof are the degrees of freedom of the side's scatter.
func (t *tail) dof() int { return int(t.n) - 1 - t.lost }

// scatter of the side's rests: no less than the step makes it, nor than their own
// readings move beyond a step, because what is not held still (a vibration, seen
// now and then) cannot be known to come back to the same place.
func (t *tail) scatter(step float64) float64 {
	return max(math.Sqrt(max((t.sq-t.sum*t.sum/t.n)/max(1, float64(t.dof())), step*step/12)), t.own/t.n)
}

// chance that ends which fall anywhere scatter by no more than this.
func (t *tail) chance(scatter, play float64) float64 {
	r := scatter / max(math.Abs(play), 1e-12) / aimlessScatter
	return logChiTail(t.dof(), float64(t.dof())*r*r)
}

// chanceOf is the chance, if the rests of the two sides scattered by so much, of
// aimless ends, and the larger of it and that of a coming home.
func (s *series) chanceOf(low, high float64) (aimless, either float64) {
	a, b := s.side[0].chance(low, s.fit.play), s.side[1].chance(high, s.fit.play)
	return s.aimless + a + b, max(s.aimless+a+b, s.home+homePower*max(a, b))
}

// logChiTail is the logarithm of the lower tail of chi-square, by the series
// (Abramowitz and Stegun 26.4.6): P = e^(-y/2) (y/2)^a / Gamma(a+1) (1 + y/2/(a+1) + …).
func logChiTail(dof int, y float64) float64 {
	if dof < 1 {
		return 0
	}
	a, x := float64(dof)/2, y/2
	if x > a+1 {
		return 0 // no agreement to speak of
	}
	sum, term := 1.0, 1.0
	for k := 1.0; k < 50 && term > 1e-6*sum; k++ {
		term *= x / (a + k)
		sum += term
	}
	return min(0, -x+a*math.Log(max(x, 1e-300))-logHalfFactorial(dof)+math.Log(sum))
}

func logChoose(n, k int) float64 {
	if k == 0 {
		return 0
	}
	lg := func(x int) float64 { return logHalfFactorial(2 * x) }
	return lg(n) - lg(k) - lg(n-k)
}

// logHalfFactorial is the logarithm of (n/2)!; it is asked for some hundred times
// a take.
func logHalfFactorial(n int) float64 {
	if n < len(halfFactorials) {
		return halfFactorials[n]
	}
	v, _ := math.Lgamma(float64(n)/2 + 1)
	return v
}

var halfFactorials = func() (t [128]float64) {
	for n := range t {
		t[n], _ = math.Lgamma(float64(n)/2 + 1)
	}
	return t
}()
