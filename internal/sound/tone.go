package sound

import (
	"math"
	"sync"
)

// Rate is the samples a second of the tones.
const Rate = 44100

// The edges of a tone: a rise short enough to be prompt, and both long enough
// not to click.
const (
	riseMS = 6
	fallMS = 15
)

// overtone is the level of the octave above a tone, which small speakers carry
// better than the tone itself; none is added over maxHz.
const (
	overtone = 0.25
	maxHz    = 2500
)

// loudest leaves room for two tones at once.
const loudest = 0.6

// gain is the amplitude for a volume from 0 to 1: loudness follows the ear, not
// the number.
func gain(volume float64) float64 {
	volume = min(max(volume, 0), 1)
	return loudest * volume * volume
}

// render writes a score as 16-bit samples, mono, at Rate, of full scale.
func render(score []note) []int16 {
	var out []int16
	for _, n := range score {
		out = append(out, renderNote(n)...)
		out = append(out, make([]int16, samples(n.rest))...)
	}
	return out
}

// rendered holds every cue's samples: working them out takes a millisecond, and
// a verdict shall not wait for it.
var rendered = sync.OnceValue(func() (all [numCues][]int16) {
	for c, score := range scores {
		all[c] = render(score)
	}
	return all
})

// scaled is the samples at an amplitude; pcm is left as it is.
func scaled(pcm []int16, amp float64) []int16 {
	out := make([]int16, len(pcm))
	for i, v := range pcm {
		out[i] = int16(float64(v) * amp)
	}
	return out
}

func samples(ms float64) int { return int(ms * Rate / 1000) }

func renderNote(n note) []int16 {
	level, rise, to := n.level, n.soft, n.to
	if level == 0 {
		level = 1
	}
	if rise == 0 {
		rise = riseMS
	}
	if to == 0 {
		to = n.hz
	}
	count := samples(n.ms)
	up, down := samples(rise), samples(max(fallMS, n.soft))
	down = min(down, count-up)
	out := make([]int16, count)
	phase := 0.0
	for i := range out {
		hz := n.hz
		if to != n.hz {
			hz *= math.Pow(to/n.hz, float64(i)/float64(count))
		}
		phase += 2 * math.Pi * hz / Rate
		v := math.Sin(phase)
		if 2*hz <= maxHz {
			v = (v + overtone*math.Sin(2*phase)) / (1 + overtone)
		}
		edge := 1.0
		if i < up {
			edge = raised(float64(i) / float64(up))
		}
		if left := count - 1 - i; left < down {
			edge = min(edge, raised(float64(left)/float64(down)))
		}
		out[i] = int16(math.MaxInt16 * level * edge * v)
	}
	return out
}

// raised is half a cosine from 0 to 1.
func raised(x float64) float64 { return (1 - math.Cos(math.Pi*x)) / 2 }
