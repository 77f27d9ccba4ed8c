// Package sniff finds out by listening what an unknown gauge is: the line
// settings it sends at and the driver that reads it. It speaks only when told
// to, stays where the bytes fit, and would rather say 'not sure' than name the
// wrong thing.
package sniff

import (
	"slices"
	"strings"

	"thouwright/drivers"
	"thouwright/internal/ledger"
	"thouwright/internal/port"
	"thouwright/internal/quantity"
)

// Reading is one value as the best driver reads it.
type Reading struct {
	Channel string `json:"channel"`
	Value   string `json:"value"`
	Unit    string `json:"unit"`
}

// chunk is what one read gave, with its time in µs since the listening began.
type chunk struct {
	at int64
	b  []byte
}

// heard is what came at one line setting.
type heard struct {
	settings port.Settings
	chunks   []chunk
	total    int
	span     int64 // µs listened
}

func (h *heard) bytes() []byte {
	b := make([]byte, 0, h.total)
	for _, c := range h.chunks {
		b = append(b, c.b...)
	}
	return b
}

// plausible is the part of the bytes that a reading in text is made of: how
// near a speed is to the right one where no driver fits.
func (h *heard) plausible() float64 {
	n := 0
	for _, c := range h.chunks {
		for _, x := range c.b {
			x &= 0x7F // of seven bits the eighth is parity or stop
			switch {
			case x >= '0' && x <= '9', strings.IndexByte("+-., \r\n", x) >= 0:
				n++
			}
		}
	}
	if h.total == 0 {
		return 0
	}
	return float64(n) / float64(h.total)
}

// text tells whether bytes could be a gauge's text, as they are or with an
// eighth bit that follows a rule.
func text(at port.Settings, b []byte) bool {
	n := 0
	for _, x := range b {
		if x >= ' ' && x < 0x7F || x == '\r' || x == '\n' || x == '\t' || x == 2 || x == 3 {
			n++
		}
	}
	if n*10 >= len(b)*7 {
		return true
	}
	h := heard{settings: at, chunks: []chunk{{0, b}}}
	_, ok := h.eighthBit()
	return ok && at.DataBits == 8 && at.Parity == port.NoParity
}

// masked is the same with the eighth bit taken away.
func (h *heard) masked() *heard {
	m := &heard{settings: h.settings, total: h.total, span: h.span}
	for _, c := range h.chunks {
		b := append([]byte(nil), c.b...)
		for i := range b {
			b[i] &= 0x7F
		}
		m.chunks = append(m.chunks, chunk{c.at, b})
	}
	return m
}

// judgement is what a driver makes of what was heard.
type judgement struct {
	driver   *drivers.Driver
	good     int // frames that fit
	bad      int
	goodLen  int // bytes in them
	badLen   int
	readings []Reading
	pointed  bool // a value has a point, a unit, or is short: no digits are hidden in it
	why      drivers.Reason
}

// mostReadings bounds what is kept of a long listening.
const mostReadings = 200

// judge decodes what was heard with one driver. The first frame is given up
// where it does not fit: its start may have been missed.
func judge(d *drivers.Driver, h *heard) judgement {
	j := judgement{driver: d}
	dec := d.NewDecoder()
	dec.Opened(0)
	first := true
	var lastRaw *byte
	emit := func(v *drivers.Value) {
		same := len(v.Raw) > 0 && lastRaw == &v.Raw[0]
		if len(v.Raw) > 0 {
			lastRaw = &v.Raw[0]
		}
		if v.Fault == ledger.Garbled {
			if !first {
				j.bad++
				j.badLen += len(v.Raw)
				j.why = v.Reason
			}
			first = false
			return
		}
		first = false
		if !same {
			j.good++
			j.goodLen += len(v.Raw)
		}
		if len(j.readings) < mostReadings {
			r := Reading{Channel: string(v.Channel), Unit: v.Unit.String()}
			if v.HasVal {
				r.Value = v.Value.String()
			} else {
				r.Value = v.Fault.String()
			}
			j.readings = append(j.readings, r)
		}
		if v.HasVal && (v.Value.Scale > 0 || v.Unit != quantity.None || v.Value.Coef < 1000 && len(v.Raw) < 5) {
			j.pointed = true
		}
	}
	for _, c := range h.chunks {
		lastRaw = nil
		dec.Feed(c.b, c.at, emit)
	}
	dec.Expire(h.span, emit)
	return j
}

// share is the part of the bytes in frames that fit.
func (j *judgement) share() float64 {
	if j.goodLen == 0 {
		return 0
	}
	return float64(j.goodLen) / float64(j.goodLen+j.badLen)
}

// fits tells whether the driver reads all there is, or nearly.
func (j *judgement) fits(frames int) bool {
	return j.good >= frames && j.goodLen >= 3*frames && j.share() >= 0.97
}

// best is the judgement that fits best: check bytes that are right prove more
// than any pattern; of others the plainest file wins.
func best(list []*drivers.Driver, h *heard, frames int) (winner *judgement, fit []judgement) {
	if h.total == 0 {
		return nil, nil
	}
	for _, d := range list {
		if j := judge(d, h); j.fits(frames) {
			fit = append(fit, j)
		}
	}
	for i := range fit {
		if winner == nil || better(&fit[i], winner) {
			winner = &fit[i]
		}
	}
	return winner, fit
}

func better(a, b *judgement) bool {
	if x, y := a.driver.Checked(), b.driver.Checked(); x != y {
		return x
	}
	if x, y := a.driver.Complexity(), b.driver.Complexity(); x != y {
		return x < y
	}
	return a.driver.Name < b.driver.Name
}

// agree tells whether two drivers read the same from it. They may differ at the
// ends, where one trusts a frame that the other has not seen whole.
func agree(a, b *judgement) bool {
	x, y := a.readings, b.readings
	if len(x) < len(y) {
		x, y = y, x
	}
	if len(x)-len(y) > 2 {
		return false
	}
	for shift := 0; shift <= len(x)-len(y); shift++ {
		if slices.Equal(x[shift:shift+len(y)], y) {
			return true
		}
	}
	return false
}

// eighthBit tells what the eighth bit of 8N1 bytes says of a gauge that sends
// seven: even or odd parity, or a second stop bit.
func (h *heard) eighthBit() (s port.Settings, ok bool) {
	even, odd, high, n := true, true, true, 0
	for _, c := range h.chunks {
		for _, x := range c.b {
			n++
			ones := 0
			for k := 0; k < 8; k++ {
				ones += int(x >> k & 1)
			}
			even = even && ones%2 == 0
			odd = odd && ones%2 == 1
			high = high && x >= 0x80
		}
	}
	s = h.settings
	s.DataBits = 7
	switch {
	case n < 5:
		return s, false
	case even:
		s.Parity = port.EvenParity
	case odd:
		s.Parity = port.OddParity
	case high:
		s.Stop = port.TwoStops
	default:
		return s, false
	}
	return s, true
}
