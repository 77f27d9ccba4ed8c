package sound

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"os/exec"
	"strings"
	"time"
)

// The speech program, its pace in words a minute, and the times it is given.
const (
	speaker    = "espeak-ng"
	pace       = "165"
	speakStale = 8 * time.Second  // a text that could not begin by then is dropped
	speakMost  = 15 * time.Second // the longest a text may take
	afterCue   = 150 * time.Millisecond
	mostWords  = 400 // bytes of text
)

// voice speaks one text at a time through espeak-ng, where it is installed. One
// more may wait; a newer one takes its place. Its state is guarded by the
// player's lock.
type voice struct {
	p       *Player
	program string // "" where there is none
	run     func(ctx context.Context, program, text string) (pcm []int16, rate int, err error)

	text  string // waiting
	asked time.Time
	busy  bool // a text is being made or spoken
	ready *playing
	stop  context.CancelFunc
}

func newVoice(p *Player) *voice {
	v := &voice{p: p, run: synthesise}
	if prog, err := exec.LookPath(speaker); err == nil {
		v.program = prog
	}
	return v
}

// say takes a new text. The player's lock is held, as in all methods but speak.
func (v *voice) say(text string) {
	if v.program == "" {
		return
	}
	if len(text) > mostWords {
		text = text[:mostWords]
	}
	v.text, v.asked = strings.ToValidUTF8(text, ""), time.Now()
	v.next()
}

// next begins with the text that waits, unless one is in hand or it is stale.
func (v *voice) next() {
	if v.busy || v.text == "" {
		return
	}
	text := v.text
	v.text = ""
	if time.Since(v.asked) > speakStale {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), speakMost)
	v.busy, v.stop = true, cancel
	v.p.wg.Add(1)
	go func() {
		defer v.p.wg.Done()
		defer cancel()
		v.speak(ctx, text)
	}()
}

// speak makes the samples, waits for the cue that plays to end, and plays them.
func (v *voice) speak(ctx context.Context, text string) {
	s := &playing{what: "speech", weight: plain, asked: time.Now(), cut: make(chan struct{})}
	turn := make(chan struct{})
	var pcm []int16
	var rate int
	var err error
	switch v.p.out.name() {
	case "pulse":
		pcm, rate, err = v.run(ctx, v.program, text)
	case "bell": // no server, but the program may find a loudspeaker by itself
		_ = outLoud(ctx, v.program, text)
	}
	v.p.mu.Lock()
	if err == nil && ctx.Err() == nil {
		loud := gain(v.p.volume) / loudest
		s.pcm, s.rate = scaled(pcm, loud), rate
		v.ready = s
		if v.p.now == nil {
			close(turn)
		} else {
			s.onTurn = func() { close(turn) }
		}
		v.p.mu.Unlock()
		select {
		case <-turn:
			breathe(ctx)
			v.p.out.play(s)
		case <-ctx.Done():
		}
		v.p.mu.Lock()
	} else if err != nil && ctx.Err() == nil {
		v.p.log.Warn().Err(err).Msg("sound: espeak-ng could not speak")
	}
	v.ready, v.busy, v.stop = nil, false, nil
	v.next()
	v.p.mu.Unlock()
}

// breathe is the silence between a cue and the words about it.
func breathe(ctx context.Context) {
	select {
	case <-time.After(afterCue):
	case <-ctx.Done():
	}
}

// turn tells that no cue plays any more: the text that is ready may be spoken.
func (v *voice) turn() {
	if v.ready != nil && v.ready.onTurn != nil {
		v.ready.onTurn()
		v.ready.onTurn = nil
	}
}

// hush ends what is spoken and forgets what waits.
func (v *voice) hush() {
	v.text = ""
	if v.stop != nil {
		v.stop()
	}
	if v.ready != nil {
		v.ready.stop()
	}
}

// outLoud lets the speech program play by itself; where it finds nothing to
// play on, there is nothing to be done about it.
func outLoud(ctx context.Context, program, text string) error {
	cmd := exec.CommandContext(ctx, program, "-s", pace, "--stdin")
	cmd.Stdin = strings.NewReader(text)
	cmd.WaitDelay = time.Second
	return cmd.Run()
}

// synthesise runs the speech program and reads the WAV it writes. The text goes
// in by standard input, so that no word of it is taken for an option.
func synthesise(ctx context.Context, program, text string) ([]int16, int, error) {
	cmd := exec.CommandContext(ctx, program, "-s", pace, "--stdin", "--stdout")
	cmd.Stdin = strings.NewReader(text)
	cmd.WaitDelay = time.Second
	out, err := cmd.Output()
	if err != nil {
		return nil, 0, err
	}
	return readWAV(out)
}

var errWAV = errors.New("what it wrote is no plain 16-bit mono WAV")

// readWAV reads a mono 16-bit WAV whose length in the header may be unknown, as
// it is when it was written into a pipe.
func readWAV(b []byte) (pcm []int16, rate int, err error) {
	if len(b) < 44 || !bytes.Equal(b[:4], []byte("RIFF")) || !bytes.Equal(b[8:12], []byte("WAVE")) {
		return nil, 0, errWAV
	}
	le := binary.LittleEndian
	for at := 12; at+8 <= len(b); {
		kind, size := string(b[at:at+4]), int(le.Uint32(b[at+4:]))
		body := b[at+8:]
		if kind == "data" {
			size = min(size, len(body))
			if rate == 0 {
				return nil, 0, errWAV
			}
			pcm = make([]int16, size/2)
			for i := range pcm {
				pcm[i] = int16(le.Uint16(body[2*i:]))
			}
			return pcm, rate, nil
		}
		if kind == "fmt " {
			if len(body) < 16 || le.Uint16(body) != 1 || le.Uint16(body[2:]) != 1 || le.Uint16(body[14:]) != 16 {
				return nil, 0, errWAV
			}
			if rate = int(le.Uint32(body[4:])); rate < 4000 || rate > 192000 {
				return nil, 0, errWAV
			}
		}
		if size < 0 || size > len(body) {
			break
		}
		at += 8 + size + size%2
	}
	return nil, 0, errWAV
}
