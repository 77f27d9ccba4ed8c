package bench

import (
	"fmt"
	"maps"
	"strings"

	"thouwright/internal/capture"
	"thouwright/internal/ledger"
	"thouwright/internal/sound"
	"thouwright/internal/speech"
)

// soundTake is the receipt of a take that is on disk. It is called on the
// journal's goroutine, so that nothing stands between the sync and the sound.
func (d *Daemon) soundTake(t *ledger.Take) {
	cue := sound.Taken
	switch verdict := t.Verdict; {
	case t.Sound != "":
		cue = sound.OfVerdict(ledger.Verdict(t.Sound))
	case verdict != ledger.NoVerdict:
		cue = sound.OfVerdict(verdict)
	}
	d.player.Play(cue)
}

// soundSaid is the sound of what happens while a take is made.
func (d *Daemon) soundSaid(f capture.SaidFact) {
	switch f.Kind {
	case capture.SaidRest:
		d.player.Play(sound.Rest)
	case capture.SaidStroke:
		d.player.Play(sound.Stroke)
	case capture.SaidLeftOut:
		d.player.Play(sound.LeftOut)
	case capture.SaidPosition, capture.SaidStep, capture.SaidLock, capture.SaidCaution:
		d.shown.after.said = append(d.shown.after.said, f)
		if d.shown.after.unkept == 0 {
			d.sayAfterwards()
		}
	}
}

// afterTake is what is heard once the takes under way are on disk. What comes
// next is known before the receipt is there, but the verdict is heard first.
type afterTake struct {
	unkept  int // takes whose receipt is awaited
	results []string
	said    []capture.SaidFact
	guide   *capture.GuideFact // which way to turn, of a take that did not pass
}

// sayAfterwards sounds what has gathered and speaks it as one text, so that no
// part of it replaces another.
func (d *Daemon) sayAfterwards() {
	a := d.shown.after
	d.shown.after = afterTake{}
	texts := a.results
	for _, f := range a.said {
		switch f.Kind {
		case capture.SaidPosition:
			d.player.Play(sound.Position)
			if f.Tag.Component == "" {
				texts = append(texts, f.Text) // all is measured
			} else if where := speech.Moved(d.shown.place, f.Tag); len(a.results) > 0 {
				texts = append(texts, "next, "+where)
			} else {
				texts = append(texts, where)
			}
			d.shown.place = f.Tag
		case capture.SaidStep, capture.SaidLock:
			d.player.Play(sound.Step)
			texts = append(texts, f.Text)
		default:
			texts = append(texts, f.Text)
		}
	}
	if a.guide != nil {
		d.player.Guide(a.guide.Guide)
		texts = append(texts, speech.Guide(a.guide.Method, a.guide.Guide))
	}
	if len(texts) > 0 {
		d.speak(strings.Join(texts, ". "))
	}
}

// soundGuide lets the ear follow the adjuster; the words come only when the way
// to go changes.
func (d *Daemon) soundGuide(f capture.GuideFact) {
	way := f.Where + f.Way
	if d.shown.after.unkept > 0 { // the verdict is heard first
		d.shown.after.guide, d.shown.way = &f, way
		return
	}
	d.player.Guide(f.Guide)
	if way != d.shown.way {
		d.shown.way = way
		d.speak(speech.Guide(f.Method, f.Guide))
	}
}

func (d *Daemon) soundLink(up bool, gauge string) {
	if up {
		d.player.Play(sound.GaugeBack)
		return
	}
	d.player.Play(sound.GaugeLost)
	d.speak(gauge + " lost")
}

func (d *Daemon) soundDisk() {
	d.player.Play(sound.Disk)
	d.speak("disk trouble")
}

// speak says a text on the bench computer, and leaves it to the screens.
func (d *Daemon) speak(text string) {
	d.shown.spoken.N++
	d.shown.spoken.Text = text
	d.player.Say(text)
	d.publish.now()
}

// speakTake says a take's result as the trade says numbers, and with it what
// was waiting for its receipt.
func (d *Daemon) speakTake(t *ledger.Take) {
	a := &d.shown.after
	a.results = append(a.results, speech.Take(t, d.shownUnit(t.Unit)))
	if a.unkept = max(a.unkept-1, 0); a.unkept == 0 {
		d.sayAfterwards()
	}
}

func (d *Daemon) chooseUnit(unit string) error {
	switch unit {
	case "mm", "um", "in", "thou":
		d.shown.unit = unit
		if t := d.shown.last; t != nil {
			d.shown.words = capture.Words(t, d.shownUnit(t.Unit))
		}
		return nil
	}
	return fmt.Errorf("display unit %q: expected mm, um, in or thou", unit)
}

// chooseSound changes the settings in force, also after a restart; the bench
// file keeps its own.
func (d *Daemon) chooseSound(c ledger.Command) {
	s := &d.shown.sound
	if c.Volume != nil {
		s.Volume = min(max(*c.Volume, 0), 1)
	}
	if c.Mute != nil {
		s.Mute = *c.Mute
	}
	if c.Speech != nil {
		s.Speech = *c.Speech
	}
	s.Cues = withCues(s.Cues, c.Cues)
	d.setSound()
	d.keepSound(true)
}

// setSound tells the player the settings in force.
func (d *Daemon) setSound() {
	s := d.shown.sound
	d.player.Set(s.Volume, s.Mute, s.Cues)
	d.player.SetSpeech(s.Speech)
}

// withCues are the cues with those that were told set anew. A screen may still
// show the ones before: the map is a new one.
func withCues(cues, told map[string]bool) map[string]bool {
	cues = maps.Clone(cues)
	for name, on := range told {
		if _, known := cues[name]; known {
			cues[name] = on
		}
	}
	return cues
}

// liveSound is the settings in force, and where sound goes now.
func (d *Daemon) liveSound() ledger.LiveSound {
	s := d.shown.sound
	s.Output, s.Voice = d.player.Output(), d.player.Voice()
	return s
}

// adoptSound takes the bench file's settings.
func (d *Daemon) adoptSound() {
	s := d.files.bench.Sound
	d.shown.sound = ledger.LiveSound{Volume: s.Volume, Mute: s.Mute, Speech: s.Speech, Cues: s.AllCues()}
	d.setSound()
}
