package motion

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// onChange runs a finder of a gauge that sends codes (steps of 0.01) only on change.
type onChange struct {
	*Finder
	t, shown float64
	seq      uint64
	rests    []Rest // that ended
}

func newOnChange(step float64) *onChange {
	f := &onChange{Finder: NewFinder(Settings{Floor: 0.002, OnChange: true}), shown: math.NaN()}
	f.SetStep(step)
	return f
}

// show is a code that lasts.
func (f *onChange) show(code int, lasts float64) {
	see := func(ev Event) {
		if ev&RestEnded != 0 {
			f.rests = append(f.rests, f.Ended())
		}
	}
	if v := float64(code) * f.step; v != f.shown {
		f.seq++
		see(f.Reading(f.t, v, f.seq))
		f.shown = v
	}
	f.t += lasts
	for d := f.Deadline(); d < f.t; d = f.Deadline() {
		see(f.Tick(d))
	}
}

// at is the rest that ended and lasted over a time.
func (f *onChange) at(t float64) (r Rest, ok bool) {
	for _, r := range f.rests {
		if r.Start <= t && t <= r.End {
			return r, true
		}
	}
	return Rest{}, false
}

// What arrives through neighbouring codes, holds one and leaves through others rests
// at the held code and shows no other, however many of its codes lie within the
// window.
func TestPassedCodesAreNoPartOfARest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := newOnChange(rapid.SampledFrom([]float64{0.0005, 0.001, 0.01, 0.0254}).Draw(t, "step"))
		passes := func(name string) float64 { return rapid.Float64Range(0.05, 0.24).Draw(t, name) }
		side := rapid.SampledFrom([]int{-1, 1}).Draw(t, "from")
		for n := rapid.IntRange(0, 6).Draw(t, "arrives"); n > 0; n-- {
			f.show(side*n, passes("in"))
		}
		begin, hold := f.t, rapid.Float64Range(0.9, 3).Draw(t, "hold")
		f.show(0, hold)
		away := rapid.SampledFrom([]int{-1, 1}).Draw(t, "to")
		for n := range rapid.IntRange(0, 6).Draw(t, "leaves") {
			f.show(away*(n+1), passes("out"))
		}
		for n := range 4 {
			f.show(away*(1000+500*n), 0.1)
		}
		r, ok := f.at(begin + hold/2)
		if !ok || r.Value != 0 || r.Low != 0 || r.High != 0 || r.Scatter != 0 {
			t.Fatalf("%v %+v, it stood at 0 from %.2f s to %.2f s", ok, r, begin, f.t)
		}
	})
}

// What flickers between two codes for as long as it stands rests between them.
func TestFlickerIsTwoCodes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := newOnChange(0.01)
		f.show(40, 0.1)
		begin := f.t
		var upper float64
		for n := range rapid.IntRange(6, 30).Draw(t, "changes") {
			lasts := rapid.Float64Range(0.1, 0.3).Draw(t, "lasts")
			f.show(n%2, lasts)
			upper += float64(n%2) * lasts
		}
		end := f.t
		f.show(40, 0.1)
		f.show(80, 0.1)
		share := upper / (end - begin)
		r, ok := f.at((begin + end) / 2)
		if !ok || r.Low != 0 || r.High != 0.01 || math.Abs(r.Value/0.01-share) > 0.4 {
			t.Fatalf("%v %+v, it was at the upper for %.2f of the time", ok, r, share)
		}
	})
}

// What creeps to the next code early in a rest has crept by most of a step, whether the
// code before counts as passed or not.
func TestCreepFromAPassedCode(t *testing.T) {
	for _, lasts := range []float64{0.2, 0.3, 0.5} {
		f := newOnChange(0.01)
		f.show(7, lasts)
		f.show(8, 3*lasts)
		f.show(40, 0.1)
		f.show(80, 0.1)
		if r, ok := f.at(lasts); !ok || math.Abs(r.Creep-0.0075) > 0.0025 {
			t.Errorf("%v %+v, a step of 0.01 after %.1f s", ok, r, lasts)
		}
	}
}

// What passes through the whole window at an even pace has no code that lasts longer
// than the others but by the last bit of a time: whichever it is, and be it the last,
// what is left of the rest has a value and a creep.
func TestEvenPace(t *testing.T) {
	for _, begin := range []float64{0, 0.3, 0.7, 0.9, 7.7} {
		for _, codes := range []int{4, 5} {
			f := newOnChange(0.0005)
			f.t = begin
			for n := range codes {
				f.show(n, 0.1)
			}
			f.show(1000, 0.1)
			f.show(2000, 0.1)
			if len(f.rests) != 1 {
				t.Fatalf("%d rests", len(f.rests))
			}
			r := f.rests[0]
			if !(math.Abs(r.Creep) < 0.0005*float64(codes) && r.Start <= r.T && r.T <= r.End && r.Low <= r.Value && r.Value <= r.High) {
				t.Errorf("%d codes from %.1f s: %+v", codes, begin, r)
			}
		}
	}
}
