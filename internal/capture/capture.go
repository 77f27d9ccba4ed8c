// Package capture is the loop's mind: it owns which job, component, check and
// position are active, tags every reading with them, feeds the check's method,
// and turns finished measurements into takes with their verdicts. It takes
// messages and returns facts; it touches no file, socket or speaker and asks no
// clock, so a tape fed to it gives the rows the bench gave.
package capture

import (
	"math"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// Capture is the state of one job's work. One goroutine owns it.
type Capture struct {
	// Unheard: nobody watches or listens, as in a replay, so nothing is put in
	// words for people. The rows are the same.
	Unheard bool

	sheet *Sheet
	stage string
	at    int // index into sheet.places; len(places) once all are measured
	tag   *ledger.Tag
	now   ledger.Stamp

	spec    method.Spec
	machine method.Machine // nil while waiting, or when all is measured
	spent   method.Machine // the one before, whose memory the next takes
	waiting bool           // announced, to be opened …
	gate    *method.Gate   // … by this, or by a command alone where it is nil
	main    feed
	minus   feed
	memory  map[string]*method.GaugeMemory
	recent  struct { // the gauge last asked for: nearly always the next, too
		gauge  string
		memory *method.GaugeMemory
	}
	mout method.Out

	seq      uint64
	lastTake uint64
	takes    []*ledger.Take // of this job, oldest first
	accepted map[uint64]bool
	redo     uint64 // the take that the next one at this place replaces
	halted   string // why no take may complete (disk), else empty

	adjust adjusting
	view   view
}

// feed converts one gauge's readings into the check's unit.
type feed struct {
	gauge  string
	unit   quantity.Unit
	factor float64
	value  float64 // the last reading, in the check's unit
	digit  float64 // what the last reading's last digit is worth, in the check's unit
	ok     bool
	warned bool
}

// Resume is what a restart needs to go on where the job was.
type Resume struct {
	Seq, Take  uint64
	Tag        ledger.Tag // what was active; zero for a fresh job
	Takes      []*ledger.Take
	Accepted   []uint64
	HasActive  bool
	Measured   bool // Tag's place was measured, and the run ended before it moved on
	AllDone    bool
	ActiveRedo uint64
}

// New starts work on a sheet, where r says.
func New(s *Sheet, r Resume, at ledger.Stamp, out *Out) *Capture {
	c := &Capture{
		sheet:    s,
		now:      at,
		seq:      r.Seq,
		lastTake: r.Take,
		takes:    r.Takes,
		redo:     r.ActiveRedo,
		memory:   map[string]*method.GaugeMemory{},
		accepted: map[uint64]bool{},
	}
	for _, t := range r.Accepted {
		c.accepted[t] = true
	}
	c.stage = s.stages()[0]
	if r.HasActive && s.hasStage(r.Tag.Stage) {
		c.stage = r.Tag.Stage
	}
	if p, ok := s.find(r.Tag.Component, r.Tag.Check, r.Tag.Position); r.HasActive && ok {
		i := s.index(p)
		if r.Measured && c.done(i) {
			i = c.nextPlace(i)
		}
		c.open(i, out)
		return c
	}
	c.open(c.nextPlace(-1), out)
	return c
}

// Active is the place that is active; ok is false where all is measured.
func (c *Capture) Active() (tag ledger.Tag, ok bool) {
	return *c.tag, c.at < len(c.sheet.places)
}

// Readings numbers, tags and takes in a batch, in order. The readings are
// changed in place.
func (c *Capture) Readings(batch []ledger.Reading, out *Out) {
	for i := range batch {
		r := &batch[i]
		c.seq++
		r.Seq = c.seq
		r.Tag = c.tag
		c.now = r.At
		r.Motion = c.reading(r, out)
	}
}

// reading feeds one value to whatever is in progress and tells what is then
// known of its gauge's motion.
func (c *Capture) reading(r *ledger.Reading, out *Out) ledger.Motion {
	if r.HasVal && r.Fault == ledger.NoFault {
		c.remember(r.Gauge).Reading(r.Value.Float(), r.Step)
	}
	f, minus := &c.main, false
	if r.Gauge != f.gauge || c.at >= len(c.sheet.places) {
		if r.Gauge != c.minus.gauge || c.spec.Minus == nil || c.at >= len(c.sheet.places) {
			if r.Fault != ledger.NoFault || !r.HasVal {
				return ledger.Faulted
			}
			return ledger.Idle
		}
		f, minus = &c.minus, true
	}
	if r.Unit != f.unit || !f.ok {
		f.to(r.Unit, c.spec.Unit, c.check().Arm)
	}
	f.digit = r.Step * f.factor
	m := method.Reading{
		Seq:     r.Seq,
		T:       r.At.Seconds(),
		Value:   r.Value.Float() * f.factor,
		Step:    f.digit,
		Fault:   r.Fault != ledger.NoFault || !r.HasVal || !f.ok,
		Pressed: r.Pressed,
		Minus:   minus,
	}
	if r.HasVal && !f.ok && !f.warned {
		f.warned = true
		c.say(out, SaidCaution, unitTrouble(r.Gauge, r.Unit, c.spec.Unit))
	}
	if !m.Fault {
		f.value = m.Value
	}
	rest := c.feed(m, out)
	switch {
	case m.Fault:
		return ledger.Faulted
	case rest:
		return ledger.AtRest
	}
	return ledger.Moving
}

// feed gives one value to the gate or the machine. While a gate is closed the
// machine behind it does not exist, so no take can be made.
func (c *Capture) feed(m method.Reading, out *Out) (atRest bool) {
	if c.waiting {
		if c.gate != nil {
			c.gate.Reading(m)
			if c.gate.Open() {
				if c.opened(out); m.Pressed { // it opens and counts
					return c.feed(m, out)
				}
			}
		}
		return false
	}
	if c.machine == nil {
		return false
	}
	c.mout.Reset()
	c.machine.Reading(m, &c.mout)
	atRest = c.machine.AtRest()
	c.heard(out)
	return atRest
}

// remember is what is learned about a gauge beyond one take.
func (c *Capture) remember(gauge string) *method.GaugeMemory {
	if c.recent.memory != nil && c.recent.gauge == gauge {
		return c.recent.memory
	}
	m := c.memory[gauge]
	if m == nil {
		m = new(method.GaugeMemory)
		c.memory[gauge] = m
	}
	c.recent.gauge, c.recent.memory = gauge, m
	return m
}

// to sets the feed's factor from a reading's unit into the check's. arm turns a
// force into a torque; nil is none.
func (f *feed) to(from, into quantity.Unit, arm *quantity.Quantity) {
	v, err := config.Scale(from, into, arm)
	f.unit, f.factor, f.ok = from, v, err == nil
}

func unitTrouble(gauge string, got, want quantity.Unit) string {
	if got == quantity.None {
		return gauge + " does not say its unit: set unit in its [[gauge]] block of the bench file"
	}
	return gauge + " sends " + got.String() + ", which this check cannot use: its limits are in " + want.String()
}

// Tick tells the time where no reading came; see Deadline.
func (c *Capture) Tick(at ledger.Stamp, out *Out) {
	c.now = at
	t := at.Seconds()
	if d := c.deadline(); at.Elapsed >= micros(d) {
		t = max(t, d) // a whole microsecond may fall short of it by its last bit
	}
	switch {
	case c.gate != nil:
		c.gate.Tick(t)
		if c.gate.Open() {
			c.opened(out)
		}
	case c.machine != nil:
		c.mout.Reset()
		c.machine.Tick(t, &c.mout)
		c.heard(out)
	}
}

// Deadline is the elapsed time in microseconds at which Tick has something to
// do; MaxInt64 where it has nothing.
func (c *Capture) Deadline() int64 { return micros(c.deadline()) }

// deadline is Deadline in seconds, as the gate or the machine counts it.
func (c *Capture) deadline() float64 {
	switch {
	case c.gate != nil:
		return c.gate.Deadline()
	case c.machine != nil:
		return c.machine.Deadline()
	}
	return math.Inf(1)
}

// micros is the first whole microsecond at which d seconds are over; MaxInt64 for
// never.
func micros(d float64) int64 {
	if d > 1e12 {
		return math.MaxInt64
	}
	return int64(math.Ceil(d * 1e6))
}

// Halt keeps takes from completing, for the reason given, until it is called
// with "": what isn't kept must not be acknowledged.
func (c *Capture) Halt(why string) { c.halted = why }

// heard passes on what the machine said in its last call.
func (c *Capture) heard(out *Out) {
	for i := range c.mout.Notes {
		n := &c.mout.Notes[i]
		switch n.Kind {
		case method.RestFound:
			c.say(out, SaidRest, n.Text)
		case method.StrokeCounted:
			c.say(out, SaidStroke, n.Text)
			c.guide(out)
		case method.StrokeLeftOut:
			c.say(out, SaidLeftOut, n.Text)
		case method.NextStep:
			c.view.reason = "" // what did not count before stands in its way no more
			c.say(out, SaidStep, n.Text)
		case method.Caution:
			c.say(out, SaidCaution, n.Text)
		case method.DroppedTake:
			c.event(out, ledger.EvDropped, c.spec.Gauge.Name, c.where()+": "+n.Text)
		}
	}
	if len(c.mout.Notes) > 0 {
		c.doubtGuide()
	}
	res := c.mout.Result
	if res == nil {
		return
	}
	c.mout.Result = nil
	if c.halted != "" {
		c.event(out, ledger.EvDropped, c.spec.Gauge.Name, c.where()+": "+c.halted)
		c.start(out)
		return
	}
	c.finish(res, out)
}

func (c *Capture) say(out *Out, k Said, text string) {
	if k == SaidCaution || k == SaidLeftOut {
		c.view.reason = text
	}
	if c.Unheard {
		return
	}
	out.add(SaidFact{k, c.now, c.spec.Gauge.Name, text, *c.tag, c.seq, c.main.value})
}

func (c *Capture) event(out *Out, k ledger.EventKind, gauge, text string) {
	out.add(EventFact{ledger.Event{Seq: c.seq, At: c.now, Kind: k, Gauge: gauge, Text: text}})
}

// where names the active place for an event's text.
func (c *Capture) where() string { return ledger.Place(*c.tag) }
