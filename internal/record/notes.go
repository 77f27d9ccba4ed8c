package record

import (
	"slices"
	"strings"
	"time"

	"thouwright/config"
	"thouwright/internal/advice"
	"thouwright/internal/ledger"
)

// notes are the job sheet's notes, the ones of the page follow as events.
func (r *Record) notes(j *config.Job) {
	for _, n := range j.Notes {
		kind := n.Kind
		if kind == "" {
			kind = config.NoteKinds[0]
		}
		r.keep(Finding{Kind: kind, Place: placeText(ledger.Tag{Stage: n.Stage, Component: n.Component}), Words: n.Text, Photo: n.Photo})
	}
}

// keep puts a note where the record prints it.
func (r *Record) keep(f Finding) {
	if f.Kind == config.NoteSum {
		r.Kept = append(r.Kept, f)
		return
	}
	r.Findings = append(r.Findings, f)
}

// noteOf takes a note of the page apart. Its words may begin with a kind.
func noteOf(e *ledger.Event) Finding {
	f := Finding{When: e.At.Time(), Kind: config.NoteKinds[0]}
	f.Place, f.Words, f.Photo = ledger.ParseNote(e.Text)
	if slices.Contains(config.NoteKinds, strings.ToLower(f.Place)) { // of a note that names no place
		f.Kind, f.Place = strings.ToLower(f.Place), ""
	} else if k, rest, ok := strings.Cut(f.Words, ":"); ok && slices.Contains(config.NoteKinds, strings.ToLower(strings.TrimSpace(k))) {
		f.Kind, f.Words = strings.ToLower(strings.TrimSpace(k)), strings.TrimSpace(rest)
	}
	f.Place = strings.ReplaceAll(f.Place, " / ", ", ")
	return f
}

// events keeps what a reader should know: findings, redone and dropped takes,
// losses.
func (r *Record) events() {
	for i := range r.folder.Events {
		e := &r.folder.Events[i]
		switch e.Kind {
		case ledger.EvNote:
			// The bench states the sum of a picture that the sheet's notes show already.
			if f := noteOf(e); f.Words != "" || !slices.ContainsFunc(r.Findings, func(s Finding) bool { return s.When.IsZero() && s.Photo == f.Photo }) {
				r.keep(f)
			}
		case ledger.EvAnchor, ledger.EvStart, ledger.EvStop, ledger.EvPosition, ledger.EvJob, ledger.EvStage, ledger.EvAccept, ledger.EvBench, ledger.EvSheet:
			// the order of the work, or listed among the files
		default:
			text := e.Text
			if e.Kind == ledger.EvGaugeLost || e.Kind == ledger.EvGaugeBack {
				text = e.Gauge + ": " + text
			}
			r.Happened = append(r.Happened, Happening{e.At.Time(), e.Kind, text})
		}
	}
}

// Noted are the findings of some kinds.
func (r *Record) Noted(kinds ...string) (out []Finding) {
	for _, f := range r.Findings {
		if slices.Contains(kinds, f.Kind) {
			out = append(out, f)
		}
	}
	return out
}

// Text is a finding as one line.
func (f Finding) Text() string {
	if f.Place == "" {
		return f.Words
	}
	return f.Place + ": " + f.Words
}

func (r *Record) advise(b *config.Bench, j *config.Job) {
	takes := make([]*ledger.Take, len(r.folder.Takes))
	for i := range takes {
		takes[i] = &r.folder.Takes[i]
	}
	open := map[uint64]bool{}
	for _, c := range r.Checks {
		for _, p := range c.Places {
			if t := p.Last(); t != nil {
				open[t.Take.Take] = true
			}
		}
	}
	for _, stage := range r.Stages {
		for _, s := range advice.Next(b, j, stage, takes) {
			r.Advice = append(r.Advice, Advice{stage, open[s.Take], s})
		}
	}
}

// lastUse is when a gauge made its last take; zero for never.
func (r *Record) lastUse(name string) (at time.Time) {
	for i := range r.folder.Takes {
		t := &r.folder.Takes[i]
		used := t.Gauge == name
		for _, c := range r.Checks {
			used = used || c.Minus == name && c.Component == t.Tag.Component && c.Name == t.Tag.Check
		}
		if used && t.At.Time().After(at) {
			at = t.At.Time()
		}
	}
	return at
}

// placeText is a place as a document writes it: names with commas between.
func placeText(t ledger.Tag) string { return strings.ReplaceAll(ledger.Place(t), " / ", ", ") }
