package capture

import (
	"fmt"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// Answer is what the take in progress said to an accept that it is not made by: the
// error of a command that changed what the machine knows, so that a replay needs it.
type Answer string

func (a Answer) Error() string { return string(a) }

// Command does what a person asked for. An error's text is for the person and, but
// for an Answer, nothing was changed. Choosing a job, the display unit and sound
// settings are not capture's.
func (c *Capture) Command(cmd ledger.Command, at ledger.Stamp, out *Out) error {
	c.now = at
	switch cmd.Do {
	case ledger.DoStage:
		return c.doStage(cmd.Stage, out)
	case ledger.DoPosition:
		return c.doPosition(cmd, out)
	case ledger.DoAccept:
		return c.doAccept(out)
	case ledger.DoRedo:
		return c.doRedo(cmd.Take, out)
	case ledger.DoBack:
		return c.doBack(out)
	case ledger.DoRestart:
		return c.doRestart(out)
	case ledger.DoNote:
		return c.doNote(cmd, out)
	case ledger.DoLock:
		return c.doLock(out)
	case ledger.DoStep:
		return c.doStep(out)
	}
	return fmt.Errorf("unknown command %q", cmd.Do)
}

func (c *Capture) doStage(stage string, out *Out) error {
	if len(c.sheet.Job.Stages) == 0 && stage != "" {
		return fmt.Errorf("no stage %q: this job's sheet has no stages = [ … ]", stage)
	}
	if !c.sheet.hasStage(stage) {
		return fmt.Errorf("no stage %q in this job: it has %s", stage, strings.Join(c.sheet.stages(), ", "))
	}
	c.giveUp("another stage was chosen", out)
	c.stage, c.redo = stage, 0
	c.event(out, ledger.EvStage, "", stage)
	c.open(c.nextPlace(-1), out)
	return nil
}

func (c *Capture) doPosition(cmd ledger.Command, out *Out) error {
	p, ok := c.sheet.find(cmd.Component, cmd.Check, cmd.Position)
	if !ok {
		return fmt.Errorf("no place %q in this job", ledger.Place(ledger.Tag{
			Component: cmd.Component, Check: cmd.Check, Position: cmd.Position}))
	}
	c.giveUp("another position was chosen", out)
	c.redo = 0
	c.open(c.sheet.index(p), out)
	return nil
}

// doAccept takes what is there and goes on: it opens a waiting position, ends a
// take that needs a person's word, or leaves a check that is being adjusted as it now is.
func (c *Capture) doAccept(out *Out) error {
	switch {
	case c.waiting:
		if c.adjust.inBand {
			return c.doLock(out)
		}
		c.event(out, ledger.EvAccept, "", c.where())
		c.opened(out)
		return nil
	case c.machine == nil:
		return fmt.Errorf("nothing to accept: all is measured")
	}
	last := c.latest(*c.tag)
	asItNowIs := adjustable(c.spec.Method) && last != nil
	c.mout.Reset()
	if !asItNowIs || c.spec.Method == method.Drag { // of an end play it would say that nothing moves
		c.machine.Finish(c.now.Seconds(), &c.mout)
	}
	if c.mout.Result != nil {
		c.event(out, ledger.EvAccept, c.spec.Gauge.Name, c.where())
		c.heard(out)
		return nil
	}
	c.heard(out)
	if asItNowIs {
		c.accepted[last.Take] = true
		c.event(out, ledger.EvAccept, c.spec.Gauge.Name, c.where()+fmt.Sprintf(asItIs, last.Take))
		c.announce(c.nextPlace(c.at), nil, out)
		return nil
	}
	if n := len(c.mout.Notes); n > 0 {
		if text := c.mout.Notes[n-1].Text; text != "" {
			return Answer(c.where() + ": " + text)
		}
		return nil // a station of several
	}
	return fmt.Errorf("nothing to accept yet at %s", c.where())
}

// doRedo goes back to where a take was made; the next take there replaces it.
func (c *Capture) doRedo(number uint64, out *Out) error {
	t := c.take(number)
	if t == nil {
		if number == 0 {
			return fmt.Errorf("no take to do again")
		}
		return fmt.Errorf("no take %d in this job", number)
	}
	p, ok := c.sheet.find(t.Tag.Component, t.Tag.Check, t.Tag.Position)
	if !ok || !c.sheet.hasStage(t.Tag.Stage) {
		return fmt.Errorf("take %d belongs to a place that is no longer in the job sheet", t.Take)
	}
	c.giveUp("a redo was asked for", out)
	c.event(out, ledger.EvRedo, t.Gauge, fmt.Sprintf("%s: take %d", ledger.Place(t.Tag), t.Take))
	if c.stage != t.Tag.Stage {
		c.stage = t.Tag.Stage
		c.event(out, ledger.EvStage, "", c.stage)
	}
	c.open(c.sheet.index(p), out)
	c.redo = t.Take
	return nil
}

// take finds a take by number; 0 is the last one that was measured.
func (c *Capture) take(number uint64) *ledger.Take {
	for i := len(c.takes) - 1; i >= 0; i-- {
		t := c.takes[i]
		if t.Take == number || number == 0 && t.Method != method.Derived {
			return t
		}
	}
	return nil
}

func (c *Capture) doBack(out *Out) error {
	i := min(c.at, len(c.sheet.places)) - 1
	if i < 0 {
		return fmt.Errorf("this is the first position")
	}
	c.giveUp("went back", out)
	c.redo = 0
	c.event(out, ledger.EvBack, "", c.where())
	c.open(i, out)
	return nil
}

func (c *Capture) doRestart(out *Out) error {
	if c.at >= len(c.sheet.places) {
		return fmt.Errorf("nothing to start over: all is measured")
	}
	c.event(out, ledger.EvDropped, c.spec.Gauge.Name, c.where()+": started over")
	c.view = view{last: c.view.last}
	c.start(out)
	return nil
}

func (c *Capture) doNote(cmd ledger.Command, out *Out) error {
	if strings.TrimSpace(cmd.Text) == "" && cmd.Photo == "" {
		return fmt.Errorf("a note needs words or a photograph")
	}
	tag := ledger.Tag{Stage: c.stage, Component: cmd.Component, Check: cmd.Check, Position: cmd.Position}
	if cmd.Component == "" && cmd.Check == "" && cmd.Position == "" {
		tag = *c.tag
	}
	c.event(out, ledger.EvNote, "", ledger.NoteText(tag, cmd.Text, cmd.Photo, cmd.PhotoSum))
	return nil
}

// giveUp drops the take in progress, and says so where anything was gathered.
func (c *Capture) giveUp(why string, out *Out) {
	if c.machine == nil {
		return
	}
	if p := c.machine.Progress(); p.Strokes > 0 {
		c.event(out, ledger.EvDropped, c.spec.Gauge.Name, fmt.Sprintf("%s: %d strokes, %s", c.where(), p.Strokes, why))
	}
	c.putAway()
}

// Link takes the news that gauges' ports came or went. No take may straddle a
// lost port.
func (c *Capture) Link(gauges []string, up bool, message string, at ledger.Stamp, out *Out) {
	c.now = at
	for _, g := range gauges {
		kind := ledger.EvGaugeLost
		if up {
			kind = ledger.EvGaugeBack
		}
		c.event(out, kind, g, message)
		if !up {
			c.remember(g).NewSetUp() // what it read before says nothing of where it now stands
		}
		if !up && c.machine != nil && (g == c.spec.Gauge.Name || g == c.minus.gauge) {
			c.giveUp(g+" was lost", out)
			c.start(out)
		}
	}
}

// Replace works on with a new version of the bench and job files. A take in
// progress goes on if its check is unchanged, else it is dropped and an event
// says so. Takes already made stay.
func (c *Capture) Replace(s *Sheet, at ledger.Stamp, out *Out) {
	c.now = at
	same := c.at < len(c.sheet.places) && c.sheet.sameWork(s, *c.tag)
	old := c.sheet
	c.sheet = s
	if !s.hasStage(c.stage) {
		c.stage = s.stages()[0]
		c.event(out, ledger.EvStage, "", c.stage)
	}
	p, ok := s.find(c.tag.Component, c.tag.Check, c.tag.Position)
	switch {
	case same:
		c.at = s.index(p)
	case ok && c.at < len(old.places):
		c.giveUp("the job sheet changed this check", out)
		c.open(s.index(p), out)
	default:
		c.giveUp("the job sheet no longer has this check", out)
		c.open(c.nextPlace(-1), out)
	}
	c.derive(out)
}

// asItIs ends the text of an accept event that leaves a check as it was
// adjusted.
const asItIs = ": take %d as it is"

// AcceptedTake tells which take an accept event accepted as it is, for a
// restart.
func AcceptedTake(e ledger.Event) (take uint64, ok bool) {
	i := strings.LastIndex(e.Text, ": take ")
	if e.Kind != ledger.EvAccept || i < 0 {
		return 0, false
	}
	_, err := fmt.Sscanf(e.Text[i:], asItIs, &take)
	return take, err == nil
}

// Seq is the number of the last reading.
func (c *Capture) Seq() uint64 { return c.seq }

// Stage is the active stage, "" where the job has none.
func (c *Capture) Stage() string { return c.stage }

// Takes are the job's takes, oldest first. They must not be changed.
func (c *Capture) Takes() []*ledger.Take { return c.takes }

// NextTake is the number that the next take will have.
func (c *Capture) NextTake() uint64 { return c.lastTake + 1 }

// Unit is the active check's unit.
func (c *Capture) Unit() quantity.Unit { return c.spec.Unit }
