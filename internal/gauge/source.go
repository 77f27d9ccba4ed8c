package gauge

import (
	"fmt"
	"math"
	"strings"
	"time"

	"thouwright/drivers"
	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// Spec is one gauge on a port.
type Spec struct {
	Name    string
	Index   int                // the caller's own number, given back in Batch.From and Note.Index
	Channel string             // of a multiplexer; empty where the stream has none
	Unit    quantity.Unit      // when the stream does not say
	Step    *quantity.Quantity // declared; nil: the last digit sent
}

// Source makes readings of one port's bytes: the decoder, channels to gauges,
// and silence. It does no I/O and knows no clock but the stamps it is given, so
// a tape gives what the port gave. In steady state it allocates nothing.
type Source struct {
	// Whole says that the stream begins where a reading begins whenever the port
	// is opened, as a tape's does. After the opening of any other port the first
	// reading may be half of one.
	Whole bool

	dec     *drivers.Decoder
	driver  *drivers.Driver
	silence int64 // µs without a whole frame; 0: silence says nothing
	gauges  []*one

	up       bool
	bytes    bool   // something arrived since the last good frame
	channel  string // last asked for, for answers that carry none
	deadline int64  // of all timers
	emit     func(*drivers.Value)
	halt     func(*drivers.Value)
	at       ledger.Stamp // of the call in progress
	out      *Batch       // of the call in progress
	unknown  map[string]bool
}

// one is a gauge of the port.
type one struct {
	Spec
	adopted string // the channel taken by a gauge that named none
	counts  Counts
	last    int64 // elapsed µs of the last whole frame, or of the port's opening
	lost    bool
	bad     int // unreadable frames since the last whole one
	stepIn  quantity.Unit
	step    float64 // Spec.Step in stepIn
}

// burst is how many unreadable frames in a row are worth a word.
const burst = 5

// unknownMost bounds the channels that are remembered as told.
const unknownMost = 64

// NewSource makes readings of a stream of driver d for the gauges on its port.
func NewSource(d *drivers.Driver, gauges []Spec) *Source {
	s := &Source{dec: d.NewDecoder(), driver: d, deadline: math.MaxInt64}
	if d.Sends == ledger.Streams { // one that sends on a change or press may say nothing all day
		s.silence = d.Silence.Microseconds()
	}
	s.Regauge(gauges, ledger.Stamp{})
	s.emit, s.halt = s.value, s.stopped
	return s
}

// Regauge says that the port's gauges were edited while the port stayed open.
// Nothing of the stream is lost: half a line stays half a line, what was sent
// of units and channels holds. A gauge that keeps its name and channel goes on,
// one that is new is waited for from at on.
func (s *Source) Regauge(gauges []Spec, at ledger.Stamp) {
	before := s.gauges
	s.gauges = make([]*one, 0, len(gauges))
	for _, spec := range gauges {
		g := &one{last: at.Elapsed}
		for _, old := range before {
			if old.Name == spec.Name && old.Channel == spec.Channel {
				*g = *old
			}
		}
		g.Spec, g.step = spec, 0
		s.gauges = append(s.gauges, g)
	}
	s.unknown = nil
	s.arm()
}

// Feed takes bytes that were read at one moment.
func (s *Source) Feed(chunk []byte, at ledger.Stamp, out *Batch) {
	if len(chunk) == 0 {
		return
	}
	if s.deadline <= at.Elapsed { // whoever drives it was late with Tick
		s.Tick(ledger.Stamp{Wall: at.Wall - (at.Elapsed - s.deadline), Elapsed: s.deadline}, out)
	}
	s.at, s.out = at, out
	if !s.up { // a tape may hold bytes and no openings
		s.open(at)
	}
	s.bytes = true
	s.dec.Feed(chunk, at.Elapsed, s.emit)
	s.arm()
}

// Tick runs the timers that are due: frames that end by a pause, lines that
// stopped, silence.
func (s *Source) Tick(at ledger.Stamp, out *Batch) {
	s.at, s.out = at, out
	s.dec.Expire(at.Elapsed, s.halt)
	for _, g := range s.gauges {
		if s.quiet(g) && g.last+s.silence <= at.Elapsed {
			s.lose(g)
		}
	}
	s.arm()
}

// Deadline is the elapsed µs at which Tick is due, math.MaxInt64 for never.
func (s *Source) Deadline() int64 { return s.deadline }

// Link says that the port was opened or lost. Half a frame from before is
// dropped: its rest will never come.
func (s *Source) Link(up bool, at ledger.Stamp, out *Batch) {
	s.at, s.out = at, out
	s.up = up
	switch {
	case up && s.Whole:
		s.dec = s.driver.NewDecoder()
	case up:
		s.dec.Opened(at.Elapsed)
	default:
		s.dec.Reset()
	}
	if s.channel = ""; up {
		s.open(at)
	}
	s.arm()
}

// Asked says that the readings without a channel that follow belong to channel,
// since a poll asked for it.
func (s *Source) Asked(channel string) {
	s.channel = channel
	s.dec.SetChannel(channel)
}

// Counts are the frames of the gauge with the given Spec.Index.
func (s *Source) Counts(index int) Counts {
	for _, g := range s.gauges {
		if g.Index == index {
			return g.counts
		}
	}
	return Counts{}
}

func (s *Source) open(at ledger.Stamp) {
	s.up, s.bytes = true, false
	for _, g := range s.gauges {
		g.last, g.lost, g.bad = at.Elapsed, false, 0
	}
}

// quiet tells whether the silence of a gauge is being timed.
func (s *Source) quiet(g *one) bool { return s.up && !g.lost && s.silence > 0 }

func (s *Source) arm() {
	s.deadline = math.MaxInt64
	if due, ok := s.dec.Deadline(); ok {
		s.deadline = due
	}
	for _, g := range s.gauges {
		if s.quiet(g) {
			s.deadline = min(s.deadline, g.last+s.silence)
		}
	}
	s.out = nil
}

// lose says that a gauge has sent nothing usable for too long, and which of the
// reasons it is.
func (s *Source) lose(g *one) {
	g.lost = true
	after := time.Duration(s.at.Elapsed-g.last) * time.Microsecond
	if g.bad > 0 || s.bytes && len(s.gauges) == 1 {
		s.note(g, Unreadable, fmt.Sprintf("bytes arrive, but for %s none of them fit the driver %s: check its line setting, or find both with 'thouwright sniff'", quantity.Span(after), s.driver.Name))
		return
	}
	s.note(g, Silent, fmt.Sprintf("nothing for %s: is it switched on, awake and plugged in?", quantity.Span(after)))
}

// stopped takes what the decoder gives when a pause ended a frame.
func (s *Source) stopped(v *drivers.Value) {
	s.value(v)
	if v.Fault != ledger.Garbled {
		return // a frame that ends by a pause, as it should
	}
	if g := s.gaugeOf(v); g != nil && !g.lost {
		text := fmt.Sprintf("the line stopped in the middle of a reading, after %s: check plug and cable", quote(v.Raw))
		if s.driver.Sends != ledger.Streams {
			s.note(g, Burst, text)
			return
		}
		g.lost = true
		s.note(g, Stopped, text)
	}
}

// value takes one decoded frame.
func (s *Source) value(v *drivers.Value) {
	g := s.gaugeOf(v)
	if g == nil {
		s.unclaimed(v)
		return
	}
	g.count(v)
	if v.Fault == ledger.Garbled {
		if g.bad++; g.bad == burst && !g.lost {
			s.note(g, Burst, fmt.Sprintf("%d lines in a row that the driver %s cannot read (%s), the last was %s: check line setting and cable", burst, s.driver.Name, v.Reason, quote(v.Raw)))
		}
	} else {
		s.bytes, g.bad = false, 0
		if g.lost {
			g.lost = false
			s.note(g, Speaking, fmt.Sprintf("speaking again after %s", quantity.Span(time.Duration(s.at.Elapsed-g.last)*time.Microsecond)))
		}
		g.last = s.at.Elapsed
	}
	r := ledger.Reading{At: s.at, Gauge: g.Name, Raw: s.out.keep(v.Raw), Value: v.Value, HasVal: v.HasVal,
		Unit: v.Unit, Fault: v.Fault, Pressed: v.Pressed}
	if r.Unit == quantity.None {
		if r.Unit = g.Unit; r.Unit == quantity.None {
			r.Unit = s.driver.Unit
		}
	}
	if r.HasVal {
		r.Step = g.stepOf(v, r.Unit)
	}
	s.out.Readings = append(s.out.Readings, r)
	s.out.From = append(s.out.From, g.Index)
}

func (g *one) count(v *drivers.Value) {
	switch {
	case v.HasVal:
		g.counts.Good++
	case v.Fault == ledger.Over, v.Fault == ledger.Under:
		g.counts.Range++
	case v.Fault == ledger.NoSignal:
		g.counts.NoSignal++
	case v.Fault != ledger.Garbled:
		g.counts.Error++
	case v.Reason == drivers.BadCheck:
		g.counts.Checksum++
	case v.Reason == drivers.CutOff:
		g.counts.Short++
	case v.Reason == drivers.TooLong:
		g.counts.Overflow++
	default:
		g.counts.Format++
	}
}

// stepOf is what one step is worth in unit u: the gauge's declared one, else
// what the decoder says of the last digit.
func (g *one) stepOf(v *drivers.Value, u quantity.Unit) float64 {
	if g.Step != nil {
		if g.step == 0 || g.stepIn != u {
			step, err := g.Step.In(u)
			if err != nil {
				return v.Value.LastDigit() // the stream's unit is of another kind
			}
			g.step, g.stepIn = step, u
		}
		return g.step
	}
	if !v.Step.IsZero() {
		return v.Step.Float()
	}
	return v.Value.LastDigit()
}

// gaugeOf finds the gauge a frame belongs to, nil for none.
func (s *Source) gaugeOf(v *drivers.Value) *one {
	if len(s.gauges) == 0 {
		return nil
	}
	if len(v.Channel) == 0 {
		if s.channel != "" {
			for _, g := range s.gauges {
				if g.Channel == s.channel {
					return g
				}
			}
		}
		// A frame that nobody could read may be anyone's; it is kept with the
		// first gauge, so that its bytes are not lost.
		if v.Fault == ledger.Garbled || len(s.gauges) == 1 {
			return s.gauges[0]
		}
		for _, g := range s.gauges {
			if g.Channel == "" {
				return g
			}
		}
		return nil
	}
	for _, g := range s.gauges {
		if g.Channel == string(v.Channel) {
			return g
		}
	}
	// A gauge that names no channel takes the first it hears and no other: two
	// mixed would be a measurement of nothing.
	for _, g := range s.gauges {
		if g.Channel != "" {
			continue
		}
		if g.adopted == "" {
			g.adopted = string(v.Channel)
		}
		if g.adopted == string(v.Channel) {
			return g
		}
	}
	return nil
}

// unclaimed tells once of each channel that belongs to no gauge.
func (s *Source) unclaimed(v *drivers.Value) {
	if len(s.gauges) == 0 || s.unknown[string(v.Channel)] || len(s.unknown) >= unknownMost {
		return
	}
	if s.unknown == nil {
		s.unknown = map[string]bool{}
	}
	s.unknown[string(v.Channel)] = true
	g := s.gauges[0]
	text := fmt.Sprintf("readings of channel %s arrive that belong to no gauge: write channel = %s in a [[gauge]] to use them", quote(v.Channel), quote(v.Channel))
	if len(v.Channel) == 0 {
		text = "readings without a channel arrive, and every gauge of this port names one: take channel out of one [[gauge]]"
	} else if g.adopted != "" {
		text += fmt.Sprintf(" (%s takes %q, the first that was heard)", g.Name, g.adopted)
	}
	s.note(g, Unclaimed, text)
}

func (s *Source) note(g *one, k NoteKind, text string) {
	s.out.Notes = append(s.out.Notes, Note{g.Name, g.Index, k, text, s.at})
}

// quote shows bytes as one may print them, in quotes; of a long line the start.
func quote(raw []byte) string {
	const most = 48
	more := ""
	if len(raw) > most {
		raw, more = raw[:most], "…"
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, c := range raw {
		switch {
		case c == '"' || c == '\\':
			b.WriteByte('\\')
			b.WriteByte(c)
		case c >= ' ' && c < 0x7f:
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, `\x%02X`, c)
		}
	}
	return b.String() + `"` + more
}
