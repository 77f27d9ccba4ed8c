package sound

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/sound/pulse"
)

// The waits between attempts to reach a sound server.
const (
	firstWait  = 100 * time.Millisecond
	firstRetry = 250 * time.Millisecond
	lastRetry  = 5 * time.Second
)

// server plays on a sound server while one can be reached, and on another
// output else. It looks for the server in the background, so that no sound
// waits for a connection.
type server struct {
	log    zerolog.Logger
	other  output
	cancel context.CancelFunc
	done   chan struct{}

	mu   sync.Mutex
	conn *pulse.Conn
	deaf bool // the server has no device
}

func newServer(log zerolog.Logger, other output) *server {
	ctx, cancel := context.WithCancel(context.Background())
	s := &server{log: log, other: other, cancel: cancel, done: make(chan struct{})}
	first := make(chan struct{})
	go s.keep(ctx, first)
	select { // an attempt on a local socket takes a few milliseconds
	case <-first:
	case <-time.After(firstWait):
	}
	return s
}

// keep holds a connection until ctx ends; only changes are logged.
func (s *server) keep(ctx context.Context, first chan struct{}) {
	defer close(s.done)
	wait, told := firstRetry, false
	for tries := 0; ctx.Err() == nil; tries++ {
		conn, err := pulse.Dial(ctx)
		if err == nil {
			s.set(conn)
			s.noDevice(errors.Is(conn.Hears(), pulse.ErrNoDevice))
			if tries > 0 {
				s.log.Info().Msg("sound: the sound server is reached")
			}
			wait, told = firstRetry, false
		} else if !told {
			told = true
			s.log.Warn().Msgf("sound: no sound server is reached (%v); output is %s until one is", err, s.other.name())
		}
		if tries == 0 {
			close(first)
		}
		if err == nil {
			select {
			case <-conn.Gone():
				s.log.Warn().Msg("sound: the sound server is gone")
			case <-ctx.Done():
			}
			conn.Close()
			s.set(nil)
			continue // a restarted server is often back at once
		}
		select {
		case <-time.After(wait):
		case <-ctx.Done():
		}
		wait = min(2*wait, lastRetry)
	}
}

func (s *server) set(c *pulse.Conn) {
	s.mu.Lock()
	s.conn = c
	s.mu.Unlock()
}

func (s *server) get() *pulse.Conn {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.conn
}

// noDevice notes whether the server has anything to play on.
func (s *server) noDevice(deaf bool) {
	s.mu.Lock()
	was := s.deaf
	s.deaf = deaf
	s.mu.Unlock()
	if deaf && !was {
		s.log.Warn().Msgf("sound: the sound server has no device to play on: plug a loudspeaker in or choose one; output is %s until then", s.other.name())
	}
}

func (s *server) play(x *playing) {
	c := s.get()
	if c == nil {
		s.other.play(x)
		return
	}
	sent, err := c.Play(x.pcm, x.rate, x.cut)
	s.noDevice(errors.Is(err, pulse.ErrNoDevice))
	if err == nil {
		return
	}
	s.log.Debug().Err(err).Str("cue", x.what).Msg("sound: not played whole")
	// A sound of which nothing was heard, or whose end nobody vouches for, is
	// given to the other output: twice is better than never for a verdict.
	if !sent || x.weight >= result {
		s.other.play(x)
	}
}

func (s *server) name() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.conn != nil && !s.deaf {
		return "pulse"
	}
	return s.other.name()
}

func (s *server) close() {
	s.cancel()
	<-s.done
	s.other.close()
}
