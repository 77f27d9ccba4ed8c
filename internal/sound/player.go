package sound

import (
	"os"

	"github.com/rs/zerolog"

	"thouwright/config"
	"thouwright/internal/ledger"
)

// Player plays cues.
type Player struct{ out string }

// New gives a player.
func New(cfg config.Sound, log zerolog.Logger) *Player { return &Player{out: cfg.Output} }

// Play plays a cue.
func (p *Player) Play(c Cue) {
	if p.out == "bell" {
		os.Stderr.WriteString("\a")
	}
}

// Guide plays where the play lies while an adjuster is turned.
func (p *Player) Guide(ledger.Guide) {}

// Say speaks.
func (p *Player) Say(string) {}

// Set changes the settings.
func (p *Player) Set(volume float64, mute bool, cues map[string]bool) {}

// Output is where the sound goes.
func (p *Player) Output() string { return p.out }

// Close ends it.
func (p *Player) Close() {}
