package method

import (
	"math"

	"thouwright/internal/ledger"
	"thouwright/internal/motion"
)

// closure is the zero of a comparative gauging, looked at again after the part: what
// the gauge then reads on its master.
type closure struct {
	wanted bool    // the part is gauged
	at     float64 // how far the zero has moved …
	known  bool    // … where the master was seen
	open   float64 // what its turning leaves open
	// Where the gauge stood while the part was gauged, and where far from part and zero
	// since then: the master comes back, and so does a place where the gauge stands
	// open, or is always laid down.
	before, since places
	jump          uint64 // the reading that was at zero at once, where the gauge had stood elsewhere
}

const (
	// closureMost times what agrees is the furthest that a zero may have moved and be
	// charged; beyond it the whole is gauged again.
	closureMost = 5
	// zeroSeconds between two readings nobody takes a gauge from where it stands and sets
	// it on a master.
	zeroSeconds = 0.3

	askMaster     = "now look at the master again"
	reasonMoved   = "the zero has moved: set the gauge to its master again, and gauge the part anew"
	reasonNotZero = "not counted: not near zero. Where the master reads this again, the zero has moved"
)

// places are the readings of the last rests, sizeKeep of them.
type places []float64

func (p *places) add(v float64) {
	if len(*p) == sizeKeep {
		*p = (*p)[:copy(*p, (*p)[1:])]
	}
	*p = append(*p, v)
}

func (p places) count(v, agree float64) (n int) {
	for _, q := range p {
		if within(math.Abs(q-v), agree) {
			n++
		}
	}
	return n
}

// looked takes a rest after the part was gauged, with what its turning leaves open.
func (m *size) looked(r motion.Rest, open float64, out *Out) {
	agree := m.agree()
	most, off, fromPart := closureMost*agree, math.Abs(r.Value), m.fromPart(r.Value)
	note := Note{Kind: Caution, T: m.now}
	switch {
	case off > agree && fromPart <= agree:
		m.reason = "that is the part once more: now look at the master (or set the gauge to it again and start over)"
	case off <= most && m.zero.jump > 0 && r.FirstSeq == m.zero.jump:
		m.anew(out)
		return
	case off <= most:
		m.zero.at, m.zero.known, m.zero.open = r.Value, true, open
		if off > agree {
			note.Text = "the zero has moved a little: that is in the uncertainty"
			out.Notes = append(out.Notes, note)
		}
		m.finish(out)
		return
	case fromPart <= most:
		m.reason = "that is not the master: its reading is not near zero"
	case m.zero.movedTo(r.Value, agree, m.extreme.wanted()):
		m.anew(out)
		return
	default:
		m.reason, note.Kind = reasonNotZero, StrokeLeftOut
	}
	note.Text = m.reason
	out.Notes = append(out.Notes, note)
}

// fromPart is how far a reading lies from those that make the size.
func (m *size) fromPart(v float64) float64 {
	least, greatest := inf, -inf
	for _, g := range m.used {
		least, greatest = math.Min(least, g.Value), math.Max(greatest, g.Value)
	}
	return math.Max(0, math.Max(least-v, v-greatest))
}

// movedTo takes a reading far from the zero, and tells whether the master must be what
// is read: it comes back, and did not while the part was gauged. What is waved about
// turns anywhere, twice at one place by luck; a rest comes back or does not.
func (c *closure) movedTo(v, agree float64, turning bool) bool {
	by := 1
	if turning {
		by = 2
	}
	moved := c.since.count(v, agree) >= by && c.before.count(v, agree) < by
	c.since.add(v)
	return moved
}

// after takes a reading that follows one at a rest: a gauge that was elsewhere and is at
// zero in the next moment was not moved but set, and that is no closure.
func (c *closure) after(last, r Reading, agree, step float64) {
	if within(math.Abs(r.Value), step) && !within(math.Abs(last.Value), agree) && r.T-last.T < zeroSeconds {
		c.jump = r.Seq
	}
}

// anew gives the gaugings of the part up: they were made nobody knows where from. A
// zero set anew is then no closure of theirs.
func (m *size) anew(out *Out) {
	m.reason = reasonMoved
	out.Notes = append(out.Notes, Note{Kind: DroppedTake, T: m.now, Text: reasonMoved}, Note{Kind: NextStep, T: m.now, Text: reasonMoved})
	m.seen = gaugings{hasZero: true}
	m.used, m.leftOut, m.varied, m.live = nil, nil, false, false
	m.zero = closure{before: m.zero.before}
}

// closed adds to a result what the zero says of it.
func (m *size) closed(res *Result) {
	switch {
	case !m.spec.HasMaster:
	case !m.zero.known:
		res.Note = ledger.JoinNotes(res.Note, "the zero was not looked at again")
	default:
		if math.Abs(m.zero.at) > m.agree() {
			res.Note = ledger.JoinNotes(res.Note, "the zero has moved")
		}
		res.Extras = append(res.Extras, ledger.Extra{Quantity: "closure", Value: m.zero.at, Unit: m.spec.Unit, U95: math.NaN()})
	}
}
