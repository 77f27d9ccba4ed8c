package sniff

import (
	"bytes"
	"fmt"
	"time"

	"thouwright/drivers"
	"thouwright/internal/port"
	"thouwright/internal/quantity"
)

// nobody handles a line on which nothing was heard.
func (s *search) nobody() error {
	if !s.Ask {
		s.r.Why = fmt.Sprintf("nothing was heard for %s: switch the gauge on, make it send (or press its data button while listening), or let '--ask' try the polls of our drivers", quantity.Span(s.Patience))
		return nil
	}
	frames := []string{"8N1", "7E1", "8E1", "7O1", "8O1", "7N2"}
	bauds := speeds
	if !s.ear.Settable() {
		frames, bauds = frames[:1], bauds[:1]
	}
	for _, frame := range frames {
		for _, baud := range bauds {
			at := setting(baud, frame)
			for _, d := range s.mute {
				done, err := s.ask(at, d)
				if done || err != nil {
					return err
				}
			}
		}
	}
	s.r.Why = "nothing was heard, and nothing answered the polls of our drivers at any line setting"
	return nil
}

// answers are how many times one poll must be answered to be believed.
const answers = 3

// ask sends a driver's first poll and believes an answer that comes again.
func (s *search) ask(at port.Settings, d *drivers.Driver) (done bool, err error) {
	poll := d.Poll.Asks[0]
	s.say("asking %q at %s", poll.Send, at)
	wait := min(d.Poll.Wait+time.Duration(len(poll.Send)+30)*11*time.Second/time.Duration(at.Baud), 2*time.Second)
	all := &heard{settings: at}
	for k := 0; k < answers; k++ {
		h, err := s.hear(at, poll.Send, wait, func(h *heard, _ time.Duration) bool {
			j := judge(d, quiet(h))
			return j.good > 0
		})
		if err != nil || h == nil {
			return false, err
		}
		if k == 0 {
			s.note(h, string(poll.Send))
		}
		if j := judge(d, quiet(h)); j.good == 0 {
			return false, nil
		}
		for _, c := range h.chunks {
			all.chunks = append(all.chunks, chunk{all.span + c.at, c.b})
		}
		all.total += h.total
		all.span += h.span + wait.Microseconds()
	}
	j := judge(d, quiet(all))
	if !j.fits(answers) || echo(all, poll.Send) {
		return false, nil
	}
	s.r.Tried[len(s.r.Tried)-1].Driver, s.r.Tried[len(s.r.Tried)-1].Score = d.Name, j.share()
	if !j.pointed {
		s.r.Why = fmt.Sprintf("at %s it answers %q with whole numbers only: if its display shows a point, a driver must say where", at, poll.Send)
		return true, nil
	}
	s.r.Driver, s.r.Score, s.r.Readings = d.Name, j.share(), j.readings[max(0, len(j.readings)-5):]
	if s.ear.Settable() {
		s.r.Line = at.String()
	}
	for _, other := range s.mute {
		if other != d && bytes.Equal(other.Poll.Asks[0].Send, poll.Send) {
			s.r.Also = append(s.r.Also, other.Name)
		}
	}
	s.r.Why = fmt.Sprintf("it answered %q %d times; whether it minds parity was not tried", poll.Send, answers)
	return true, nil
}

// quiet is what was heard after a quiet time: an answer's start is seen.
func quiet(h *heard) *heard {
	q := &heard{settings: h.settings, total: h.total, span: h.span + drivers.Quiet.Microseconds()}
	for _, c := range h.chunks {
		q.chunks = append(q.chunks, chunk{c.at + drivers.Quiet.Microseconds(), c.b})
	}
	return q
}

// echo tells whether only our own words came back.
func echo(h *heard, said []byte) bool {
	return bytes.Equal(h.bytes(), bytes.Repeat(said, answers))
}
