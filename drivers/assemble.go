package drivers

import (
	"math"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// ordinal are the channels of several values in a line that names none.
var ordinal = func() (all [mostItems][]byte) {
	for i := range all {
		if i+1 >= 10 {
			all[i] = []byte{byte('0' + (i+1)/10), byte('0' + (i+1)%10)}
		} else {
			all[i] = []byte{byte('1' + i)}
		}
	}
	return all
}()

// pending is a value of the frame at hand before it is given out.
type pending struct {
	v, step    quantity.Decimal
	has        bool
	at         int // which {value} of the pattern
	unit       quantity.Unit
	fault      ledger.Fault
	channel    []byte
	from, to   int // its notes in d.notes
	drop       bool
	placed     bool
	negate     bool
	extraScale int8
}

// give turns the captures of a frame that fits l into readings.
func (d *Decoder) give(l *line, frame []byte, emit func(*Value)) {
	if l.ignore {
		return
	}
	if l.values == 0 && !l.many {
		d.whole(l, frame, emit)
		return
	}
	vals := d.vals[:0]
	for i := range d.caps {
		if c := &d.caps[i]; c.kind == opValue {
			p := pending{v: c.v, step: c.step, has: c.m == nil, at: c.at}
			if c.m != nil {
				p.fault = c.m.fault
			}
			vals = append(vals, p)
		}
	}
	if len(vals) == 0 { // its {value} may be missing, and was
		d.whole(l, frame, emit)
		return
	}
	d.notes = d.notes[:0]
	// An attribute that leads belongs to the values up to the next of its kind,
	// one that trails to the values since the last of its kind.
	for kind := opSign; kind < numKinds; kind++ {
		d.spread(kind, vals, frame)
	}
	for i := range vals {
		p := &vals[i]
		if p.drop {
			continue
		}
		d.val = Value{Raw: d.raw, Value: p.v, HasVal: p.has, Step: p.step, Unit: p.unit, Fault: p.fault, Channel: p.channel}
		v := &d.val
		if p.placed {
			v.Value.Scale += p.extraScale
			v.Step.Scale += p.extraScale
		}
		if p.negate {
			v.Value.Neg = !v.Value.Neg
		}
		d.finish(l, v, p.at, len(vals))
		if p.to > p.from {
			v.Flags = d.notes[p.from:p.to]
		} else if len(l.note) > 0 {
			v.Flags = l.note
		}
		emit(v)
	}
}

// finish fills in what the line, the driver and the state know.
func (d *Decoder) finish(l *line, v *Value, i, n int) {
	if v.Channel == nil {
		switch {
		case i < len(l.channels):
			v.Channel = l.channels[i]
		case l.channel != nil:
			v.Channel = l.channel
		case n > 1 || l.many || l.values > 1:
			v.Channel = ordinal[min(i, mostItems-1)]
		case len(d.channel) > 0:
			v.Channel = d.channel
		case len(d.asked) > 0:
			v.Channel = d.asked
		}
	}
	if v.Unit == quantity.None {
		if v.Unit = l.unit; v.Unit == quantity.None {
			v.Unit = d.unit
		}
	} else if d.drv.holds {
		d.unit = v.Unit
	}
	if d.drv.Step.Coef != 0 {
		v.Step = d.drv.Step
	}
	if l.fault != ledger.NoFault && v.Fault == ledger.NoFault {
		v.Fault = l.fault
	}
	if v.Fault != ledger.NoFault && v.Fault != ledger.LowBattery || !v.HasVal {
		v.HasVal, v.Value, v.Step = false, quantity.Decimal{}, quantity.Decimal{}
	}
	v.Pressed = v.HasVal && (l.pressed || d.drv.Sends == ledger.OnPress)
	if d.wrong && d.keepWrong {
		v.Flags = wrongNote
	}
}

// wrongNote marks a value kept in spite of wrong check bytes.
var wrongNote = []byte("check wrong")

// whole gives out a line without a {value}: a fault of its own, or a unit or
// channel that holds for the readings that follow.
func (d *Decoder) whole(l *line, frame []byte, emit func(*Value)) {
	d.val = Value{Raw: d.raw, Fault: l.fault, Unit: l.unit, Flags: l.note}
	if len(l.note) == 0 {
		d.val.Flags = nil
	}
	v := &d.val
	d.notes = d.notes[:0]
	for i := range d.caps {
		c := &d.caps[i]
		switch c.kind {
		case opUnit:
			v.Unit = c.m.unit
		case opChannel:
			v.Channel = c.channelName(frame)
		case opStatus:
			if c.m.fault != ledger.NoFault {
				v.Fault = c.m.fault
			}
			if c.m.text != nil {
				v.Flags = d.addNote(c.m.text, 0)
			}
		case opNote:
			v.Flags = d.addNote(c.noteText(frame), 0)
		}
	}
	if v.Fault == ledger.NoFault {
		if v.Unit != quantity.None {
			d.unit = v.Unit
		}
		if v.Channel != nil {
			d.channel = append(d.channel[:0], v.Channel...)
		}
		return
	}
	if v.Channel == nil {
		if v.Channel = l.channel; v.Channel == nil && len(d.channel) > 0 {
			v.Channel = d.channel
		} else if v.Channel == nil && len(d.asked) > 0 {
			v.Channel = d.asked
		}
	}
	emit(v)
}

// spread hands the captured attributes of one kind to the values: one that
// leads to the values up to the next of its kind, one that trails to the values
// since the last of its kind. Several in a row belong together. A value that is
// missing keeps its place, so that what stands beside it goes to no other.
func (d *Decoder) spread(kind opKind, vals []pending, frame []byte) {
	last := 0 // values passed at the attribute before
	for i := range d.caps {
		c := &d.caps[i]
		if c.kind != kind {
			continue
		}
		from, to := last, c.at
		switch {
		case c.lead:
			from, to = c.at, math.MaxInt
			for j := i + 1; j < len(d.caps); j++ {
				if n := &d.caps[j]; n.kind == kind && n.at > from {
					to = n.at
					break
				}
			}
		case c.after:
			from = c.at - 1
		case from == to:
			from-- // in a row with the one before
		default:
			last = c.at
		}
		for k := range vals {
			if at := vals[k].at; at >= from && at < to {
				d.apply(c, &vals[k], frame)
			}
		}
	}
}

func (d *Decoder) apply(c *capture, p *pending, frame []byte) {
	switch c.kind {
	case opUnit:
		p.unit = c.m.unit
	case opChannel:
		p.channel = c.channelName(frame)
	case opSign:
		p.negate = c.m.neg
	case opPlaces:
		p.placed, p.extraScale = true, c.v.Scale
	case opStatus:
		if c.m.fault != ledger.NoFault && p.fault == ledger.NoFault {
			p.fault = c.m.fault
		}
		p.drop = p.drop || c.m.drop
		if c.m.text != nil {
			d.noteFor(p, c.m.text)
		}
	case opNote:
		d.noteFor(p, c.noteText(frame))
	}
}

// noteFor adds text to a value's notes. They lie in one buffer, so a value
// whose notes are not the last there gets them copied to its end.
func (d *Decoder) noteFor(p *pending, text []byte) {
	if len(text) == 0 {
		return
	}
	if p.to != len(d.notes) || p.from == p.to {
		old := d.notes[p.from:p.to]
		p.from = len(d.notes)
		d.notes = append(d.notes, old...)
	}
	d.addNote(text, p.from)
	p.to = len(d.notes)
}

func (d *Decoder) addNote(text []byte, from int) []byte {
	if len(d.notes) > from {
		d.notes = append(d.notes, ' ')
	}
	d.notes = append(d.notes, text...)
	return d.notes[from:]
}

func (c *capture) channelName(frame []byte) []byte {
	if c.m != nil && len(c.m.text) > 0 { // "" in [channels]: as sent
		return c.m.text
	}
	return frame[c.from:c.to]
}

func (c *capture) noteText(frame []byte) []byte {
	if c.m != nil && c.m.text != nil {
		return c.m.text
	}
	return frame[c.from:c.to]
}
