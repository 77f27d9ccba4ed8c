package bench

import (
	"encoding/json"
	"strconv"
	"time"

	"thouwright/config"
	"thouwright/internal/advice"
	"thouwright/internal/capture"
	"thouwright/internal/gauge"
	"thouwright/internal/ledger"
	"thouwright/internal/page"
	"thouwright/internal/quantity"
)

// shown is what the page shows beside capture's own state.
type shown struct {
	unit   string
	logged uint64
	broken []ledger.Problem // the mistakes of edited files
	said   string           // a trouble that stands until the next job or take
	spoken ledger.LiveSpoken
	sound  ledger.LiveSound
	jobs   []ledger.LiveName
	last   *ledger.Take // the last take that is on disk
	place  ledger.Tag   // the one that was spoken last
	after  afterTake    // what is heard once the takes under way are on disk
	way    string       // the guidance that was spoken last
	words  string       // what it says, in the unit the person reads
	next   []ledger.LiveSuggestion
}

// seen is what is known of one gauge, for the page.
type seen struct {
	last   ledger.Reading
	raw    []byte // the last good reading's bytes; last.Raw is the batch's own
	has    bool
	bad    uint64
	badRaw []byte
	good   uint64
	silent string // why its last value is not to be trusted
	rate   rate
}

// rate is readings per second, over the last whole second.
type rate struct {
	second int64
	count  int
	last   int
}

func (r *rate) add(elapsed int64) {
	if s := elapsed / 1e6; s != r.second {
		r.last = r.count
		if s > r.second+1 {
			r.last = 0
		}
		r.second, r.count = s, 0
	}
	r.count++
}

func (r *rate) at(elapsed int64) int {
	switch s := elapsed / 1e6; {
	case s <= r.second:
		return r.last
	case s == r.second+1:
		return r.count
	}
	return 0
}

// pace keeps the page's state from being made more than 20 times a second, and
// less than once.
type pace struct {
	dirty bool
	last  time.Time
}

const stateEvery = 50 * time.Millisecond

// now asks for a state as soon as the pace allows, soon for one with the next.
func (p *pace) now()  { p.dirty = true }
func (p *pace) soon() {}

// wait is how long until the next state is due.
func (p *pace) wait() time.Duration {
	every := idle
	if p.dirty {
		every = stateEvery
	}
	return max(0, every-time.Since(p.last))
}

// show publishes the state where it is due.
func (d *Daemon) show(force bool) {
	if !force && d.publish.wait() > 0 {
		return
	}
	d.publish = pace{last: time.Now()}
	d.hub.send(page.Update{Event: "state", Data: d.live()})
}

// live is the whole state as the page shows it.
func (d *Daemon) live() ledger.Live {
	now := d.clock.Stamp()
	l := ledger.Live{
		Time:      string(ledger.AppendTime(nil, now.Wall)),
		Elapsed:   string(ledger.AppendSeconds(nil, now.Elapsed-d.session.origin.Elapsed)),
		LoggedSeq: d.shown.logged,
		Unit:      d.shown.unit,
		Gauges:    []ledger.LiveGauge{},
		Problems:  []ledger.Problem{},
		Jobs:      d.offeredJobs(),
		Spoken:    d.shown.spoken,
		Sound:     d.liveSound(),
	}
	l.Sound.Output = d.player.Output() // a sound server may have come or gone
	l.Problems = append(l.Problems, d.shown.broken...)
	if d.shown.said != "" {
		l.Problems = append(l.Problems, ledger.Problem{Text: d.shown.said, Warning: true})
	}
	if d.disk != "" {
		l.Problems = append(l.Problems, ledger.Problem{Text: d.disk})
	}
	if t := d.session.tapes; t != nil && t.trouble() != nil {
		l.Problems = append(l.Problems, ledger.Problem{Text: t.trouble().Error()})
	}
	d.engine.capture.Live(&l)
	if l.Active != nil {
		l.Active.Cautions = advice.Cautions(l.Active.Method, l.Active.Adjustable)
	}
	l.Suggest = d.shown.next
	l.LastTake = nil
	if d.shown.last != nil { // only what is on disk was measured
		t := liveTake(d.shown.last, d.shown.words)
		l.LastTake = &t
	}
	for _, li := range d.lines {
		if li.isPedal() && !li.gone && li.link != gauge.Up {
			l.Problems = append(l.Problems, ledger.Problem{Text: "foot switch: " + li.message, Warning: true})
		}
		for i := range li.gauges {
			l.Gauges = append(l.Gauges, d.liveGauge(li, i, now))
		}
	}
	return l
}

func (d *Daemon) liveGauge(li *line, i int, now ledger.Stamp) ledger.LiveGauge {
	g, s := &li.gauges[i], &li.seen[i]
	lg := ledger.LiveGauge{
		Name: g.Name, Port: g.Port, Driver: li.driver.Name, Sends: li.driver.Sends.String(),
		Link: li.link.String(), Message: li.message,
		Good: s.good, Bad: s.bad, BadRaw: ledger.Escaped(s.badRaw),
	}
	if li.link == gauge.Up {
		lg.Message = ""
		if s.silent != "" {
			lg.Link, lg.Message = "silent", s.silent
		}
	}
	if !g.Due.IsZero() {
		lg.Due, lg.Overdue = g.Due.String(), g.Due.Past(now.Time())
	}
	if !s.has {
		return lg
	}
	f := ledger.ReadingFields(&s.last)
	lg.Value, lg.ReadIn, lg.MM, lg.Motion = f["value"], f["unit"], f["mm"], f["state"]
	lg.Seq, lg.Elapsed, lg.Fault = s.last.Seq, f["elapsed_s"], s.last.Fault.String()
	lg.Raw = ledger.Escaped(s.raw)
	lg.Step = ledger.Number(s.last.Step)
	lg.Rate = ledger.Number(float64(s.rate.at(now.Elapsed - d.session.origin.Elapsed)))
	return lg
}

// offeredJobs are the sheets in the job folder, looked up when files change.
func (d *Daemon) offeredJobs() []ledger.LiveName {
	if d.shown.jobs != nil {
		return d.shown.jobs
	}
	d.shown.jobs = []ledger.LiveName{}
	list, err := config.ListJobs(d.files.bench.JobDir)
	if err != nil {
		d.log.Warn().Err(err).Msg("job folder")
	}
	for _, j := range list {
		d.shown.jobs = append(d.shown.jobs, ledger.LiveName{Number: j.Number, Machine: j.Machine})
	}
	return d.shown.jobs
}

// liveReading is a reading for the page, turned into JSON only when it is sent.
type liveReading struct{ ledger.Reading }

// MarshalJSON writes the columns of readings.csv as strings.
func (r liveReading) MarshalJSON() ([]byte, error) {
	return json.Marshal(ledger.ReadingFields(&r.Reading))
}

// sessionSink passes what the engine emits to the journal, the page and the
// speaker.
type sessionSink struct{ d *Daemon }

func (s sessionSink) readings(port int, batch []ledger.Reading) {
	d := s.d
	li := d.lines[port]
	watched := d.hub.watched()
	// The first frame may have been under way when the port was opened: nothing is
	// wrong with a gauge for that.
	cut := li.fresh && batch[0].Fault == ledger.Garbled
	li.fresh = false
	for i := range batch {
		r := &batch[i]
		d.count.reading(r.Fault)
		k := li.find(r.Gauge)
		if k < 0 {
			continue
		}
		g := &li.seen[k]
		g.rate.add(r.At.Elapsed)
		g.last, g.has, g.silent = *r, true, ""
		if r.Fault == ledger.NoFault {
			g.good++
			g.raw = append(g.raw[:0], r.Raw...)
		} else if r.Fault == ledger.Garbled && !(cut && i == 0) {
			g.bad++
			g.badRaw = append(g.badRaw[:0], r.Raw...)
		}
		g.last.Raw = g.raw
		if watched {
			own := *r
			own.Raw = append([]byte(nil), r.Raw...)
			d.hub.send(page.Update{Event: "reading", Gauge: r.Gauge, Data: liveReading{own}})
		}
	}
	last := &batch[len(batch)-1]
	d.taken.Store(last.Seq)
	d.count.waiting.add(last.Seq, d.engine.last.Elapsed)
	d.session.journal.Readings(handOver(batch))
	d.publish.soon()
}

func (l *line) find(gauge string) int {
	for i := range l.gauges {
		if l.gauges[i].Name == gauge {
			return i
		}
	}
	return -1
}

func (s sessionSink) notes(port int, notes []gauge.Note) {
	d := s.d
	li := d.lines[port]
	for i := range notes {
		n := &notes[i]
		if k := li.find(n.Gauge); k >= 0 {
			switch {
			case n.Kind.Lost():
				li.seen[k].silent = n.Text
				d.soundLink(false, n.Gauge)
			case n.Kind.Back():
				li.seen[k].silent = ""
				d.soundLink(true, n.Gauge)
			}
		}
		d.count.note(n.Kind)
		d.hub.send(page.Update{Event: "fault", Data: map[string]string{
			"gauge": n.Gauge, "kind": n.Kind.String(), "text": n.Text,
			"elapsed_s": string(ledger.AppendSeconds(nil, d.engine.rebase(n.At).Elapsed)),
		}})
	}
	d.publish.now()
}

func (s sessionSink) fact(f capture.Fact) {
	d := s.d
	d.publish.now()
	switch f := f.(type) {
	case capture.EventFact:
		d.session.journal.Event(f.Event)
	case capture.TakeFact:
		d.shown.after.unkept++
		d.session.journal.Take(*f.Take)
	case capture.SaidFact:
		if f.Kind == capture.SaidRest {
			d.hub.send(page.Update{Event: "rest", Data: d.liveRest(f)})
		}
		d.soundSaid(f)
	case capture.GuideFact:
		d.soundGuide(f)
	}
}

// liveRest is a rest as it is found. Which side it is and whether it counts is
// known only once the take is.
func (d *Daemon) liveRest(f capture.SaidFact) map[string]string {
	return map[string]string{
		"take":      strconv.FormatUint(d.engine.capture.NextTake(), 10),
		"gauge":     f.Gauge,
		"component": f.Tag.Component,
		"position":  f.Tag.Position,
		"check":     f.Tag.Check,
		"last_seq":  strconv.FormatUint(f.Seq, 10),
		"time":      string(ledger.AppendTime(nil, f.At.Wall)),
		"t":         string(ledger.AppendSeconds(nil, f.At.Elapsed)),
		"elapsed_s": string(ledger.AppendSeconds(nil, f.At.Elapsed)),
		"value":     ledger.Number(f.Value),
		"unit":      d.engine.capture.Unit().String(),
	}
}

// liveTake is a take with its words in the unit the person reads.
func liveTake(t *ledger.Take, words string) ledger.LiveTake {
	m := ledger.LiveTakeOf(t)
	m["say"] = words
	return m
}

// shownUnit is the unit the person reads; own where that is none.
func (d *Daemon) shownUnit(own quantity.Unit) quantity.Unit {
	if u, err := quantity.ParseUnit(d.shown.unit); err == nil {
		return u
	}
	return own
}

// adviseNext works out what the takes so far ask for.
func (d *Daemon) adviseNext() {
	d.shown.next = advice.Live(advice.Next(d.files.bench, d.files.job, d.engine.capture.Stage(), d.engine.capture.Takes()))
}

// takeIsKept is called once a take is on disk: now it exists for everybody.
// inHand: it is of the job in hand, not of the one before.
func (d *Daemon) takeIsKept(t *ledger.Take, inHand bool) {
	words := capture.Words(t, d.shownUnit(t.Unit))
	if inHand {
		d.shown.last, d.shown.words, d.shown.said = t, words, ""
		d.adviseNext()
	}
	d.count.take(t.Verdict)
	d.hub.send(page.Update{Event: "take", Data: liveTake(t, words)})
	d.speakTake(t)
	d.publish.now()
}
