package sound

import (
	"maps"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"thouwright/config"
	"thouwright/internal/ledger"
)

// gather is how long a minor sound waits before it starts, so that the stroke
// that a rest completes is heard instead of it.
const gather = 8 * time.Millisecond

// between is the silence between a sound and one that waited for it.
const between = 200 * time.Millisecond

// stale is the age at which a sound that still waits is dropped.
const stale = time.Second

// Player plays cues and speaks. Its methods never block and may be called from
// any goroutine.
type Player struct {
	log   zerolog.Logger
	out   output
	voice *voice

	mu     sync.Mutex
	volume float64
	mute   bool
	speech bool
	off    map[string]bool // cues switched off
	closed bool
	now    *playing // the cue that plays or is about to
	next   *playing
	wg     sync.WaitGroup
}

// output is where samples go. play returns when the sound has been heard or
// faded; cut ends it early.
type output interface {
	play(s *playing)
	name() string
	close()
}

// playing is one sound on its way.
type playing struct {
	what    string
	weight  int
	bells   int           // rings of the terminal's bell
	apart   time.Duration // between two of them
	pcm     []int16
	rate    int
	asked   time.Time
	waits   time.Duration // before it starts
	started bool
	cut     chan struct{} // closed: fade out, or never start
	isCut   bool
	onTurn  func() // speech: no cue plays any more
}

func (s *playing) stop() {
	if !s.isCut {
		s.isCut = true
		close(s.cut)
	}
}

// New makes a player: output auto is a PulseAudio or PipeWire server while one
// can be reached and the terminal's bell else; pulse, bell and none are just
// that.
func New(cfg config.Sound, log zerolog.Logger) *Player {
	rendered()
	p := &Player{log: log, volume: cfg.Volume, mute: cfg.Mute, speech: cfg.Speech}
	p.setCues(cfg.Cues)
	switch cfg.Output {
	case "none":
		p.out = silent{}
	case "bell":
		p.out = newBell()
	case "pulse":
		p.out = newServer(log, silent{})
	default:
		p.out = newServer(log, newBell())
	}
	p.voice = newVoice(p)
	return p
}

// Output is where sound goes now: "pulse", "bell" or "none".
func (p *Player) Output() string { return p.out.name() }

// Voice tells whether a program that speaks is installed on this computer.
func (p *Player) Voice() bool { return p.voice.program != "" }

// Set changes what the page can change; cues maps a cue's name to false to
// silence it. Muting fades what plays.
func (p *Player) Set(volume float64, mute bool, cues map[string]bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.volume, p.mute = volume, mute
	p.setCues(cues)
	if mute {
		p.hush()
		p.voice.hush()
	}
}

// SetSpeech switches speech on the bench computer on or off.
func (p *Player) SetSpeech(on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.speech = on; !on {
		p.voice.hush()
	}
}

func (p *Player) setCues(cues map[string]bool) {
	off := map[string]bool{}
	for name, on := range maps.All(cues) {
		off[name] = !on
	}
	p.off = off
}

// Play sounds a cue.
func (p *Player) Play(c Cue) {
	if c >= 0 && c < numCues && c != Guide {
		p.sound(c, rendered()[c])
	}
}

// Guide sounds where the present play lies while an adjuster is turned.
func (p *Player) Guide(g ledger.Guide) { p.sound(Guide, render(guideScore(g))) }

// Say speaks a text after the sound that plays. A newer text replaces one that
// has not begun.
func (p *Player) Say(text string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.closed && p.speech && !p.mute && text != "" {
		p.voice.say(text)
	}
}

func (p *Player) sound(c Cue, pcm []int16) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed || p.mute || p.off[c.String()] {
		return
	}
	rings, apart := c.bells()
	s := &playing{
		what: c.String(), weight: c.weight(), bells: rings, apart: apart,
		pcm: scaled(pcm, gain(p.volume)), rate: Rate,
		asked: time.Now(), cut: make(chan struct{}),
	}
	if s.weight == minor {
		s.waits = gather
	}
	p.offer(s)
}

// offer decides what becomes of a new sound. p.mu is held.
func (p *Player) offer(s *playing) {
	if s.weight >= result {
		p.voice.hush() // what is being said is about something older
	}
	switch n := p.now; {
	case n == nil:
		p.start(s)
	case !n.started && s.weight >= n.weight, s.weight > n.weight:
		n.stop()
		p.start(s)
	case s.weight == minor && n.weight > minor: // a tick is worth hearing now or not at all
	case p.next == nil || s.weight >= p.next.weight:
		s.waits = between
		p.next = s
	}
}

// start begins s. p.mu is held.
func (p *Player) start(s *playing) {
	p.now = s
	p.wg.Add(1)
	go func() {
		defer p.wg.Done()
		p.perform(s)
	}()
}

func (p *Player) perform(s *playing) {
	if s.waits > 0 {
		select {
		case <-s.cut:
		case <-time.After(s.waits):
		}
	}
	p.mu.Lock()
	play := !s.isCut
	s.started = play
	p.mu.Unlock()
	if play {
		p.out.play(s)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.now != s {
		return
	}
	p.now = nil
	if n := p.next; n != nil {
		p.next = nil
		if time.Since(n.asked) < stale && !p.closed {
			p.start(n)
			return
		}
	}
	p.voice.turn()
}

// hush ends all cues. p.mu is held.
func (p *Player) hush() {
	p.next = nil
	if p.now != nil {
		p.now.stop()
	}
}

// Close fades what plays and ends the player; it waits no longer than a second.
func (p *Player) Close() {
	p.mu.Lock()
	p.closed = true
	p.hush()
	p.voice.hush()
	p.mu.Unlock()
	done := make(chan struct{})
	go func() { p.wg.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(time.Second):
	}
	p.out.close()
}

// silent is the output of a bench without sound.
type silent struct{}

func (silent) play(*playing) {}
func (silent) name() string  { return "none" }
func (silent) close()        {}
