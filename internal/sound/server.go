package sound

import (
	"context"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/sound/pulse"
)

// The waits between attempts to reach a sound server.
const (
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
}

func newServer(log zerolog.Logger, other output) *server {
	ctx, cancel := context.WithCancel(context.Background())
	s := &server{log: log, other: other, cancel: cancel, done: make(chan struct{})}
	first := make(chan struct{})
	go s.keep(ctx, first)
	<-first // the first attempt on a local socket takes a few milliseconds
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

func (s *server) play(x *playing) {
	c := s.get()
	if c == nil {
		s.other.play(x)
		return
	}
	sent, err := c.Play(x.pcm, x.rate, x.cut)
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
	if s.get() != nil {
		return "pulse"
	}
	return s.other.name()
}

func (s *server) close() {
	s.cancel()
	<-s.done
	s.other.close()
}
