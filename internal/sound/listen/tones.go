//go:build unix

package listen

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Tone is one stretch of sound between silences.
type Tone struct {
	Start, Length float64 // seconds
	From, To      float64 // Hz at its beginning and at its end; equal for a steady one
	Peak          float64 // of full scale
	Edge          float64 // the largest step between neighbouring samples at its ends, of Peak
}

// quiet is the silence that parts two tones.
const quiet = 0.025

// Tones finds the tones in samples.
func Tones(pcm []int16, rate int) []Tone {
	var out []Tone
	gap := int(quiet * float64(rate))
	for i := 0; i < len(pcm); {
		if !loud(pcm[i]) {
			i++
			continue
		}
		start, end := i, i
		for i < len(pcm) && i-end < gap {
			if loud(pcm[i]) {
				end = i
			}
			i++
		}
		out = append(out, measure(pcm[start:end+1], start, rate))
	}
	return out
}

func loud(v int16) bool { return v > onset || v < -onset }

func measure(pcm []int16, start, rate int) Tone {
	t := Tone{Start: float64(start) / float64(rate), Length: float64(len(pcm)) / float64(rate)}
	for _, v := range pcm {
		t.Peak = max(t.Peak, math.Abs(float64(v))/math.MaxInt16)
	}
	t.Edge = max(math.Abs(float64(pcm[0])), math.Abs(float64(pcm[len(pcm)-1]))) / math.MaxInt16 / t.Peak
	part := min(len(pcm), max(len(pcm)/3, rate/40))
	t.From, t.To = pitch(pcm[:part], rate), pitch(pcm[len(pcm)-part:], rate)
	return t
}

// pitch is the strongest frequency between 200 Hz and 3 kHz, by a padded and
// windowed Fourier transform whose peak is interpolated.
func pitch(pcm []int16, rate int) float64 {
	n := 1 << 15
	x := make([]float64, n)
	for i, v := range pcm[:min(len(pcm), n)] {
		x[i] = float64(v) * (1 - math.Cos(2*math.Pi*float64(i)/float64(len(pcm)))) / 2
	}
	c := fourier.NewFFT(n).Coefficients(nil, x)
	at := func(k int) float64 { return cmplx.Abs(c[k]) }
	best := 0
	for k := 200 * n / rate; k < 3000*n/rate; k++ {
		if at(k) > at(best) || best == 0 {
			best = k
		}
	}
	a, b, d := at(best-1), at(best), at(best+1)
	shift := 0.0
	if den := a - 2*b + d; den != 0 {
		shift = (a - d) / (2 * den)
	}
	return (float64(best) + shift) * float64(rate) / float64(n)
}
