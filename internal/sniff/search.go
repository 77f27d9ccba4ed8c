package sniff

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"strings"
	"time"

	"thouwright/drivers"
	"thouwright/internal/port"
	"thouwright/internal/quantity"
)

// Ear is a port as the search uses it.
type Ear interface {
	// Listen sets the line and hands every chunk, with its time since then, to
	// hear, until hear has had enough or most is over. say is sent at once, and
	// nothing where it is empty.
	Listen(ctx context.Context, s port.Settings, say []byte, most time.Duration, hear func(b []byte, at time.Duration) (enough bool)) error
	// Settable tells whether line settings mean anything here.
	Settable() bool
}

// Options say what to search for.
type Options struct {
	Drivers  []*drivers.Driver
	Ask      bool
	Patience time.Duration // with silence, before it gives up or asks; 0: 8 s
	Progress func(string)  // one line for people; may be nil
}

// Try is one line setting that was listened at.
type Try struct {
	Line   string  `json:"line"`
	Bytes  int     `json:"bytes"`
	Driver string  `json:"driver"` // the best, empty where none fits
	Score  float64 `json:"score"`
	Asked  string  `json:"asked,omitempty"`
}

// Result is what was found. Line and Driver are empty where the search is not
// sure; Why then says what to do.
type Result struct {
	Port     string    `json:"port"`
	Line     string    `json:"line"`
	Driver   string    `json:"driver"`
	Score    float64   `json:"score"` // part of the bytes that the driver explains
	Readings []Reading `json:"readings"`
	Tried    []Try     `json:"tried"`
	Same     []string  `json:"same"` // other settings that give the same bytes
	Also     []string  `json:"also"` // other drivers that give the same readings
	Why      string    `json:"why"`  // in plain words
}

// Sure tells whether something was found.
func (r *Result) Sure() bool { return r.Driver != "" }

// The search's bounds.
const (
	silent   = 8 * time.Second        // nothing at all for so long: nobody sends (Options.Patience)
	shortest = 300 * time.Millisecond // of a listening
	longest  = 6 * time.Second        // … at a gauge that sends rarely
	burstGap = 30 * time.Millisecond  // a pause that ends a message
	enough   = 4                      // frames that settle it
	listened = 4096                   // bytes that are enough for any judgement
)

// speeds in the order in which gauges use them (common practice, no source).
var speeds = []int{9600, 4800, 19200, 2400, 38400, 115200, 57600, 1200}

// search is one search at work.
type search struct {
	Options
	ear   Ear
	ctx   context.Context
	r     *Result
	every time.Duration // the gauge's own interval between messages, as heard
	mute  []*drivers.Driver
	known []*drivers.Driver // that fit at the setting found
	hint  string            // what the bytes looked like, where nothing could be proved
}

// Search listens, and asks only if told to. An error is a port that does not
// work; 'not sure' is a Result.
func Search(ctx context.Context, ear Ear, o Options) (*Result, error) {
	s := &search{Options: o, ear: ear, ctx: ctx, r: &Result{Readings: []Reading{}, Tried: []Try{}, Same: []string{}, Also: []string{}}}
	s.Drivers = nil
	if s.Patience == 0 {
		s.Patience = silent
	}
	for _, d := range o.Drivers {
		switch {
		case d.NoSniff:
		case d.Poll != nil && len(d.Poll.Asks) > 0:
			s.mute = append(s.mute, d)
		default:
			s.Drivers = append(s.Drivers, d)
		}
	}
	// the shortest poll first: many gauges look only at the end of what they hear
	sort.SliceStable(s.mute, func(i, j int) bool { return len(s.mute[i].Poll.Asks[0].Send) < len(s.mute[j].Poll.Asks[0].Send) })
	err := s.run()
	return s.r, err
}

func (s *search) say(format string, a ...any) {
	if s.Progress != nil {
		s.Progress(fmt.Sprintf(format, a...))
	}
}

func (s *search) run() error {
	if !s.ear.Settable() {
		return s.only()
	}
	var h *heard
	var err error
	from := 0
	for ; h == nil; from++ { // the first speed that the port takes
		if from == len(speeds) {
			s.r.Why = "the port takes none of the usual line settings"
			return nil
		}
		if h, err = s.first(setting(speeds[from], "8N1")); err != nil {
			return err
		}
	}
	if h.total == 0 {
		return s.nobody()
	}
	heardAt := []*heard{}
	for i, baud := range speeds[from-1:] {
		if i > 0 {
			if h, err = s.listen(setting(baud, "8N1"), s.dwell(baud)); err != nil {
				return err
			}
			if h == nil {
				continue
			}
		}
		heardAt = append(heardAt, h)
		if done, err := s.at(h); done || err != nil {
			return err
		}
	}
	// No speed fits at 8N1 nor by its eighth bit: other frames, the likeliest
	// speeds first.
	sort.SliceStable(heardAt, func(i, j int) bool { return heardAt[i].plausible() > heardAt[j].plausible() })
	for _, h := range heardAt[:min(5, len(heardAt))] {
		for _, frame := range []string{"8E1", "8O1", "7N1"} {
			g, err := s.listen(setting(h.settings.Baud, frame), s.dwell(h.settings.Baud))
			if err != nil {
				return err
			}
			if g == nil {
				continue
			}
			if j, _ := best(s.Drivers, g, 1); j != nil {
				if done, err := s.settle(g.settings); done || err != nil {
					return err
				}
			}
		}
	}
	if s.r.Why = s.hint; s.hint != "" {
		return nil
	}
	s.r.Why = fmt.Sprintf("bytes arrive every %s or so, but no driver reads them at any line setting tried: see what 'decode' makes of a recording, or fill in a driver file", quantity.Span(s.every))
	return nil
}

func setting(baud int, frame string) port.Settings {
	s, err := port.ParseSettings(fmt.Sprintf("%d %s", baud, frame))
	if err != nil {
		panic(err) // of our own constants
	}
	return s
}

// only handles a port without line settings, such as a network stream.
func (s *search) only() error {
	h, err := s.first(port.DefaultSettings)
	if err != nil {
		return err
	}
	if h == nil || h.total == 0 {
		return s.nobody()
	}
	g, err := s.more(h.settings, nil)
	if err != nil || g == nil {
		return err
	}
	if s.choose(g) {
		s.r.Line = ""
	}
	return nil
}

// first listens until the gauge's own interval is known.
func (s *search) first(at port.Settings) (*heard, error) {
	s.say("listening at %s", at)
	var bursts []time.Duration
	last := time.Duration(-1)
	h, err := s.hear(at, nil, s.Patience, func(h *heard, t time.Duration) bool {
		if last < 0 || t-last > burstGap {
			bursts = append(bursts, t)
		}
		last = t
		return len(bursts) >= 4 || t-bursts[0] > 2500*time.Millisecond || h.total >= listened
	})
	if err != nil || h == nil {
		return h, err
	}
	if n := len(bursts); n > 1 {
		s.every = (bursts[n-1] - bursts[0]) / time.Duration(n-1)
	} else {
		s.every = 100 * time.Millisecond // one long stream without a pause
		if h.total < 64 {
			s.every = longest / 3
		}
	}
	s.note(h, "")
	return h, nil
}

// dwell is how long to listen: longer than twice the sending interval, and
// some thirty characters.
func (s *search) dwell(baud int) time.Duration {
	d := s.every*23/10 + 50*time.Millisecond
	d = max(d, 30*11*time.Second/time.Duration(baud))
	return min(max(d, shortest), longest)
}

// hear listens once. nil is a setting that the port does not take.
func (s *search) hear(at port.Settings, say []byte, most time.Duration, stop func(*heard, time.Duration) bool) (*heard, error) {
	h := &heard{settings: at}
	var over time.Duration
	err := s.ear.Listen(s.ctx, at, say, most, func(b []byte, t time.Duration) bool {
		h.chunks = append(h.chunks, chunk{t.Microseconds(), append([]byte(nil), b...)})
		h.total += len(b)
		over = t
		return h.total >= listened || stop != nil && stop(h, t)
	})
	h.span = max(most, over).Microseconds()
	if h.total >= listened || stop != nil && stop(h, over) {
		h.span = over.Microseconds()
	}
	var refused *port.BadAddress
	if errors.As(err, &refused) {
		s.r.Tried = append(s.r.Tried, Try{Line: at.String()})
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return h, s.ctx.Err()
}

// listen hears and notes what was tried. It turns away from a setting as soon
// as a message that was heard from its start is no text.
func (s *search) listen(at port.Settings, most time.Duration) (*heard, error) {
	s.say("listening at %s", at)
	var burst []byte
	last, fresh := time.Duration(0), false
	h, err := s.hear(at, nil, most, func(h *heard, t time.Duration) bool {
		if t-last > burstGap {
			burst, fresh = burst[:0], true
		}
		last = t
		if len(h.chunks) > 0 {
			burst = append(burst, h.chunks[len(h.chunks)-1].b...)
		}
		return fresh && len(burst) >= 6 && !text(at, burst)
	})
	if err != nil || h == nil {
		return h, err
	}
	s.note(h, "")
	return h, nil
}

// note keeps what was tried, the last listening at a setting in the place of the
// one just before it.
func (s *search) note(h *heard, asked string) {
	t := Try{Line: h.settings.String(), Bytes: h.total, Asked: asked}
	if !s.ear.Settable() {
		t.Line = "as it is"
	}
	if n := len(s.r.Tried); n > 0 && s.r.Tried[n-1].Line == t.Line && s.r.Tried[n-1].Asked == asked {
		s.r.Tried = s.r.Tried[:n-1]
	}
	if j, _ := best(s.Drivers, h, 1); j != nil {
		t.Driver, t.Score = j.driver.Name, j.share()
	}
	s.r.Tried = append(s.r.Tried, t)
}

// at looks at what came at one speed as 8N1, and settles there if it fits.
func (s *search) at(h *heard) (done bool, err error) {
	if j, _ := best(s.Drivers, h, 1); j != nil {
		return s.settle(h.settings)
	}
	seven, ok := h.eighthBit()
	if !ok {
		return false, nil
	}
	if j, _ := best(s.Drivers, h.masked(), 1); j == nil {
		return false, nil
	}
	g, err := s.listen(seven, s.dwell(seven.Baud))
	if err != nil {
		return false, err
	}
	if g != nil {
		if j, _ := best(s.Drivers, g, 1); j != nil {
			return s.settle(seven)
		}
	}
	s.hint = fmt.Sprintf("at %s the bytes look like %s, but set so the port does not give them: it may not know 7 data bits", h.settings, seven)
	return false, nil
}

// more listens on at a setting that seemed to fit until there is proof. nil is
// a setting that does not fit after all.
func (s *search) more(at port.Settings, say []byte) (*heard, error) {
	most := max(s.every*(enough+2), 1200*time.Millisecond)
	h, err := s.hear(at, say, min(most, 4*longest), func(h *heard, _ time.Duration) bool {
		j, _ := best(s.Drivers, h, enough)
		return j != nil
	})
	if err != nil || h == nil {
		return nil, err
	}
	s.note(h, "")
	if j, _ := best(s.Drivers, h, 2); j == nil {
		return nil, nil
	}
	return h, nil
}

func frameOf(s port.Settings) string {
	return strings.Fields(s.String())[1]
}

// line says which setting it is. A parity that is checked and right is proof;
// where both parities read the same, nobody checks it and nobody knows.
func (s *search) line(at port.Settings, fit map[string]bool, free bool) {
	data := fmt.Sprint(at.DataBits)
	even, odd := fit[data+"E1"], fit[data+"O1"]
	frame := frameOf(at)
	same := []string{}
	switch {
	case free:
		s.r.Line = port.DefaultSettings.String()
		s.r.Same = append(s.r.Same, "any")
		return
	case even && odd:
		frame = data + "N1"
		same = append(same, data+"E1", data+"O1", data+"N2")
		if data == "7" {
			frame, same = "7E1", []string{"7O1", "7N2"}
		}
	case even:
		frame = data + "E1"
		same = append(same, data+"E2")
	case odd:
		frame = data + "O1"
		same = append(same, data+"O2")
	case frame == "7N2":
		same = append(same, "7N1")
	default:
		same = append(same, data+"N2")
	}
	s.r.Line = setting(at.Baud, frame).String()
	for _, f := range same {
		s.r.Same = append(s.r.Same, setting(at.Baud, f).String())
	}
}

// choose settles on a driver, or says why it cannot.
func (s *search) choose(h *heard) bool {
	j, fit := best(s.Drivers, h, 2)
	if j == nil {
		s.r.Why = "no driver fits what was heard"
		return false
	}
	s.r.Score = j.share()
	s.r.Readings = j.readings[max(0, len(j.readings)-5):]
	var other []string
	for i := range fit {
		g := &fit[i]
		switch {
		case g.driver == j.driver:
		case agree(g, j):
			s.r.Also = append(s.r.Also, g.driver.Name)
		case !j.driver.Checked() || g.driver.Checked():
			other = append(other, g.driver.Name)
		}
	}
	switch {
	case len(other) > 0:
		s.r.Why = fmt.Sprintf("at %s both %s and %s read it, and differently: compare with the gauge's own display", h.settings, j.driver.Name, strings.Join(other, ", "))
		return false
	case !j.pointed:
		s.r.Why = fmt.Sprintf("at %s it sends whole numbers only, which %s reads as they are; if its display shows a point, a driver must say where (decimals = 3, as in implied-decimals-3)", h.settings, j.driver.Name)
		return false
	}
	s.r.Driver, s.r.Line = j.driver.Name, h.settings.String()
	s.r.Why = fmt.Sprintf("%d messages in a row fit", j.good)
	return true
}
