// Package live feeds a proof with the readings of one gauge, from its port or
// from a tape.
package live

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"thouwright/config"
	"thouwright/drivers"
	"thouwright/internal/gauge"
	"thouwright/internal/ledger"
	"thouwright/internal/port"
	"thouwright/internal/proof"
	"thouwright/internal/quantity"
	"thouwright/internal/tape"
)

// Proving is a proof under way: one gauge's readings into the collector.
type Proving struct {
	// Wanted rests end it; 0: it goes on until it is told to end.
	Wanted int
	Bell   bool // says is a terminal: ring at each rest
	// Sizes are the blocks, in the gauge's unit once that is known; nil for a screw.
	Sizes func(quantity.Unit) []float64
	Names []string // of the blocks, in the order of Sizes: as the person wrote them

	says    io.Writer
	name    string
	plan    gauge.Plan
	source  *gauge.Source
	index   int
	collect *proof.Collector
	step    *quantity.Quantity
	change  bool
	unit    quantity.Unit
	mixed   error
	rests   int
	full    float64 // when the last wanted rest was confirmed, seconds
}

// lastRest is how long the last rest is listened to, as the others are that a
// movement ends.
const lastRest = 1.0

// New prepares the proof of a bench's gauge; says gets a line for each rest and
// for what goes wrong.
func New(b *config.Bench, name string, says io.Writer) (*Proving, error) {
	g := b.Gauge(name)
	if g == nil {
		var names []string
		for _, o := range b.Gauges {
			names = append(names, o.Name)
		}
		return nil, fmt.Errorf("%s has no gauge %q; there are %s", b.File, name, strings.Join(names, ", "))
	}
	cat, errs := drivers.Load(b.DriverDir)
	if len(errs) > 0 {
		return nil, errs[0]
	}
	d, err := cat.Find(g.Driver)
	if err != nil {
		return nil, fmt.Errorf("gauge %q: %w", name, err)
	}
	p := &Proving{says: says, name: name, step: g.Step, change: d.Sends == ledger.OnChange, full: math.Inf(1), index: -1}
	set, err := gauge.SettingsOf(d, g.Line)
	if err != nil {
		return nil, fmt.Errorf("gauge %q: %w", name, err)
	}
	p.plan = gauge.Plan{Address: g.Port, Settings: set, Driver: d}
	var specs []gauge.Spec
	for _, o := range b.Gauges { // gauges may share a port
		if o.Port != g.Port {
			continue
		}
		if o.Name == name {
			p.index = len(specs)
		}
		specs = append(specs, gauge.Spec{Name: o.Name, Index: len(specs), Channel: o.Channel, Unit: o.Unit, Step: o.Step})
		if o.Channel != "" {
			p.plan.Channels = append(p.plan.Channels, o.Channel)
		}
	}
	p.source = gauge.NewSource(d, specs)
	return p, nil
}

// batch takes what the source gave.
func (p *Proving) batch(b *gauge.Batch) {
	for i := range b.Readings {
		r := &b.Readings[i]
		if b.From[i] != p.index || !r.HasVal || r.Fault != ledger.NoFault && r.Fault != ledger.LowBattery {
			continue
		}
		if p.unit == quantity.None {
			if r.Unit == quantity.None {
				continue
			}
			if p.unit = r.Unit; !p.begin() {
				return
			}
		}
		v, err := quantity.Convert(r.Value.Float(), r.Unit, p.unit)
		digit, err2 := quantity.Convert(r.Step, r.Unit, p.unit)
		if err != nil || err2 != nil {
			p.mixed = fmt.Errorf("%s sent %s after %s", p.name, r.Unit, p.unit)
			return
		}
		p.tick(r.At.Seconds())
		if p.collect.Reading(proof.Reading{Seq: uint64(i), T: r.At.Seconds(), Value: v, Digit: digit, Pressed: r.Pressed}) {
			p.confirmed(r.At.Seconds(), v)
		}
	}
	for _, n := range b.Notes {
		if n.Index == p.index {
			fmt.Fprintln(p.says, n.Text)
		}
	}
}

// begin makes the collector once the unit is known.
func (p *Proving) begin() bool {
	step, floor := 0.0, 0.0
	if p.step != nil {
		if s, err := p.step.In(p.unit); err == nil {
			step = s
		}
	}
	if p.unit.IsLength() {
		f, err := quantity.Convert(2, quantity.UM, p.unit)
		if err != nil {
			p.mixed = err
			return false
		}
		floor = f
	}
	p.collect = proof.NewCollector(step, floor, p.change)
	return true
}

func (p *Proving) tick(t float64) {
	if p.collect == nil {
		return
	}
	for d := p.collect.Deadline(); d <= t; d = p.collect.Deadline() {
		if p.collect.Tick(d) {
			v, _ := p.collect.Current()
			p.confirmed(d, v)
		}
	}
}

// confirmed tells a rest by a line, and by the bell: eyes are on the blocks.
func (p *Proving) confirmed(t, v float64) {
	p.rests++
	bell := ""
	if p.Bell {
		bell = "\a"
	}
	fmt.Fprintf(p.says, "%srest %d: %.6g %s%s\n", bell, p.rests, v, p.unit, p.place(t, v))
	if p.rests == p.Wanted {
		p.full = t
	}
}

// place says which block that is, and which is wanted next.
func (p *Proving) place(t, v float64) string {
	if p.Sizes == nil {
		return ""
	}
	rests := p.collect.Rests
	if n := len(rests); n == 0 || rests[n-1].T != t { // a pressed one is among them
		rests = append(rests[:n:n], proof.Rest{T: t, Value: v, Count: 1})
	}
	sizes := p.Sizes(p.unit)
	on, next, ok := proof.Place(rests, sizes, p.collect.Step())
	if !ok {
		return ""
	}
	if math.IsNaN(on) {
		return ": on none of the blocks"
	}
	block := func(size float64) string {
		if i := slices.Index(sizes, size); i >= 0 && i < len(p.Names) {
			return p.Names[i]
		}
		return fmt.Sprintf("%.6g %s", size, p.unit)
	}
	s := ": on " + block(on)
	if p.Wanted > 0 && p.rests >= p.Wanted {
		return s
	}
	return s + "; next " + block(next)
}

// done: the last rest that was wanted is over, or was listened to long enough.
func (p *Proving) done(t float64) bool {
	return t >= p.full+lastRest || p.mixed != nil || p.collect != nil && p.Wanted > 0 && len(p.collect.Rests) >= p.Wanted
}

// Tape reads a tape to its end, or until enough rests are there.
func (p *Proving) Tape(file string) error {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	p.source.Whole = true
	r := tape.NewReader(file, f)
	var b gauge.Batch
	var last int64
	for {
		at, chunk, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		last = at
		b.Reset()
		p.source.Feed(chunk, ledger.Stamp{Elapsed: at}, &b)
		p.batch(&b)
		if p.done(float64(at) / 1e6) {
			break
		}
	}
	p.tick(float64(last)/1e6 + lastRest)
	return p.mixed
}

// Rests closes the proof: its rests and the gauge's step, in unit (None where
// no reading with a unit came).
func (p *Proving) Rests() (rests []proof.Rest, step float64, unit quantity.Unit) {
	if p.collect == nil {
		return nil, 0, quantity.None
	}
	p.collect.Finish()
	return p.collect.Rests, p.collect.Step(), p.unit
}

// Port reads the gauge's port until enough rests are there, the person says
// enough, or ctx is done. A port that can't be opened for good is an error; one
// that is not there yet is waited for.
func (p *Proving) Port(ctx context.Context, open gauge.Opener, clock port.Clock, enough <-chan struct{}) error {
	start := clock.Now()
	ctx, stop := context.WithCancel(ctx)
	s := &sink{events: make(chan event, 1024), stop: ctx.Done(), clock: clock}
	kept := make(chan struct{})
	go func() {
		defer close(kept)
		gauge.Keep(ctx, p.plan, open, s, clock, zerolog.Nop())
	}()
	defer func() { stop(); <-kept }()
	var b gauge.Batch
	stamp := func(t time.Time) ledger.Stamp {
		return ledger.Stamp{Wall: t.UnixMicro(), Elapsed: t.Sub(start).Microseconds()}
	}
	for !p.done(clock.Now().Sub(start).Seconds()) {
		b.Reset()
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-enough:
			return p.mixed
		case e := <-s.events:
			if ended, err := p.event(e, stamp(e.at), &b); ended {
				return err
			}
		case <-clock.After(tickEvery):
			now := stamp(clock.Now())
			if p.source.Deadline() <= now.Elapsed {
				p.source.Tick(now, &b)
			}
			p.batch(&b)
			p.tick(now.Seconds())
		}
	}
	return p.mixed
}

// tickEvery is how often timers are looked at: those of a gauge that sends only
// on change run in tenths of a second.
const tickEvery = 50 * time.Millisecond

// event takes news of the port; ended says that no more will come.
func (p *Proving) event(e event, at ledger.Stamp, b *gauge.Batch) (ended bool, err error) {
	switch {
	case e.chunk != nil:
		p.source.Feed(e.chunk, at, b)
	case e.asked != nil:
		p.source.Asked(*e.asked)
	case e.link == gauge.Held || e.link == gauge.Denied || e.link == gauge.Bad:
		return true, errors.New(e.message)
	default:
		if e.link != gauge.Up {
			fmt.Fprintln(p.says, e.message)
		}
		p.source.Link(e.link == gauge.Up, at, b)
		ended = e.link == gauge.Ended
	}
	p.batch(b)
	return ended, p.mixed
}

// event is a chunk of bytes or news of the port.
type event struct {
	at      time.Time
	chunk   []byte
	asked   *string
	link    gauge.Link
	message string
}

// sink passes a keeper's news on, stamped where they were read.
type sink struct {
	events chan event
	stop   <-chan struct{}
	clock  port.Clock
}

func (s *sink) send(e event) {
	e.at = s.clock.Now()
	select {
	case s.events <- e:
	case <-s.stop:
	}
}

func (s *sink) Chunk(_ int, b []byte) { s.send(event{chunk: append([]byte{}, b...)}) }
func (s *sink) Link(_ int, l gauge.Link, message string) {
	s.send(event{link: l, message: message})
}
func (s *sink) Control(int, string, bool) {}

// Asked is told of each question that a poll put (gauge.Asker).
func (s *sink) Asked(_ int, channel string) { s.send(event{asked: &channel}) }
