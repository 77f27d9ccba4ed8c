package bench

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"sync"

	"thouwright/config"
	"thouwright/internal/form"
)

// soundName is the file in log_dir that holds what was chosen of the sound on
// the page. The bench file is the person's own, and a service may not write it.
const soundName = "sound.json"

// chosenSound is what was chosen on the page, in the place of what the bench
// file says. It gives way once the file says something else.
type chosenSound struct {
	Bench  config.Sound    `json:"instead_of"`
	Volume float64         `json:"volume"`
	Mute   bool            `json:"mute"`
	Speech *bool           `json:"speech"` // nil in a note of before it could be chosen
	Cues   map[string]bool `json:"cues"`
}

// soundNote writes the newest choice, off the loop: a slow disk must not hold
// up readings for a slider.
type soundNote struct {
	mu     sync.Mutex
	newest *chosenSound // nil: none, the file goes
	ask    bool
	file   string
}

// keepSound notes the choice in force, or none.
func (d *Daemon) keepSound(chosen bool) {
	n := &d.soundNote
	n.mu.Lock()
	n.newest, n.ask = nil, true
	n.file = filepath.Join(d.files.bench.LogDir, soundName)
	if s := d.shown.sound; chosen {
		n.newest = &chosenSound{d.files.bench.Sound, s.Volume, s.Mute, &s.Speech, s.Cues}
	}
	n.mu.Unlock()
	d.closing.Go(func() {
		if err := n.write(); err != nil {
			d.log.Warn().Err(err).Msg("the sound's settings can't be noted: after a restart those of the bench file hold")
		}
	})
}

func (n *soundNote) write() error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if !n.ask {
		return nil // a newer one has been written
	}
	n.ask = false
	if n.newest == nil {
		return dropNote(n.file)
	}
	text, err := json.MarshalIndent(n.newest, "", "  ")
	if err != nil {
		return err
	}
	return writeNote(n.file, append(text, '\n'))
}

// resumeSound goes on with what was chosen before the daemon was stopped.
func (d *Daemon) resumeSound() {
	text, err := form.ReadFile(filepath.Join(d.files.bench.LogDir, soundName), "note")
	if err != nil {
		return
	}
	var c chosenSound
	if err := json.Unmarshal(text, &c); err != nil || !sameSound(c.Bench, d.files.bench.Sound) {
		return
	}
	s := &d.shown.sound
	s.Volume, s.Mute = min(max(c.Volume, 0), 1), c.Mute
	if c.Speech != nil {
		s.Speech = *c.Speech
	}
	s.Cues = withCues(s.Cues, c.Cues)
	d.setSound()
}

func sameSound(a, b config.Sound) bool {
	x, err1 := json.Marshal(a)
	y, err2 := json.Marshal(b)
	return err1 == nil && err2 == nil && bytes.Equal(x, y)
}
