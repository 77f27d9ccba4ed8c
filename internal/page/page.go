// Package page is the live page of a bench: an HTTP server with the page's
// HTML, CSS and JavaScript inside, a stream of events, and the commands a
// person gives from a browser. It holds no measuring state of its own; it can
// be slow, dead or attacked without holding a reading back.
package page

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"thouwright/internal/ledger"
)

// Desk is what the page needs of the daemon.
type Desk interface {
	// Subscribe gives the state as it is and every change after it. A
	// subscriber that does not keep up has its channel closed; it then
	// subscribes again. cancel ends the subscription.
	Subscribe() (snapshot ledger.Live, updates <-chan Update, cancel func())
	// Do carries out what a person asked for. The error's text is for that
	// person: one line, with what to do.
	Do(ctx context.Context, c ledger.Command) error
}

// Update is one change. Data is what the event carries: for 'state' a
// ledger.Live; for the others an object of CSV values as strings. Data is
// turned into JSON only if somebody watches, and a reading that is replaced
// before its turn never is.
type Update struct {
	Event string // state, reading, rest, take, fault
	Gauge string // of a reading: which gauge it replaces the last one of
	Data  any
}

// Options is what a page is made of. Only Listen and Log are needed.
type Options struct {
	Listen      string // address and port; port 0 takes a free one
	ReadToken   string // empty: a random one
	ChangeToken string // empty: a random one
	Log         zerolog.Logger

	// SaveSheet writes a job sheet that the page made, after checking it, and
	// returns one line for the person if it may not be.
	SaveSheet func(number string, text []byte) error
	// Sheet is the text of a job's sheet.
	Sheet func(number string) ([]byte, error)
	// Photo keeps a picture in the folder of the job in hand and returns its name
	// there, for a note; what is no photograph is refused with one line.
	Photo func(picture io.Reader) (name string, err error)
	// Record writes the document of a job in a format: html, pdf, xlsx, csv, or
	// the bundle of them with the logs.
	Record func(w io.Writer, number, format string) error
	// Health says what is wrong with the daemon, nil when nothing is.
	Health func() error
	// Metrics serves /metrics to readers.
	Metrics http.Handler
}

// Server serves the page of one bench.
type Server struct {
	opt       Options
	desk      Desk
	hub       *hub
	keys      keys
	version   string // of the page and its tokens: another one makes a screen load anew
	hosts     map[string]bool
	listeners []net.Listener
	http      *http.Server
	making    chan struct{} // holds one while a record is made
	coming    chan struct{} // holds one while a photograph comes in
	closing   chan struct{} // closed when event streams have to end
	closeOnce sync.Once
}

// How long and how much the server bears. A person's browser stays far below.
const (
	headerTime   = 5 * time.Second
	requestTime  = 10 * time.Second
	idleTime     = 60 * time.Second
	answerTime   = 15 * time.Second
	recordTime   = 2 * time.Minute
	photoTime    = time.Minute
	headerBytes  = 16 << 10
	bodyBytes    = 64 << 10
	sheetBytes   = 1 << 20
	photoBytes   = 25 << 20
	shutdownTime = 2 * time.Second
)

// New opens the listening sockets, so that URL is known, but serves nothing
// before Serve.
func New(o Options, d Desk) (*Server, error) {
	s := &Server{opt: o, desk: d, making: make(chan struct{}, 1), coming: make(chan struct{}, 1), closing: make(chan struct{})}
	for _, t := range []*string{&s.opt.ReadToken, &s.opt.ChangeToken} {
		if *t == "" {
			*t = NewToken()
		}
	}
	if s.opt.ReadToken == s.opt.ChangeToken {
		return nil, errors.New("page: the reading and the changing token must differ")
	}
	s.keys = newKeys(s.opt.ReadToken, s.opt.ChangeToken)
	s.version = assetVersion + hex.EncodeToString(s.keys.change[:3])
	s.hub = newHub(d, o.Log)
	if err := s.listen(); err != nil {
		return nil, err
	}
	s.hosts = ownNames()
	s.http = &http.Server{
		Handler:           s.handler(),
		ReadHeaderTimeout: headerTime,
		ReadTimeout:       requestTime,
		IdleTimeout:       idleTime,
		MaxHeaderBytes:    headerBytes,
		ErrorLog:          log.New(io.Discard, "", 0), // a stranger's broken requests are not the mechanic's news
	}
	return s, nil
}

// NewToken makes a token that nobody guesses: 18 random bytes, URL safe.
func NewToken() string {
	b := make([]byte, 18)
	rand.Read(b)
	return base64.RawURLEncoding.EncodeToString(b)
}

func (s *Server) listen() error {
	l, err := net.Listen("tcp", s.opt.Listen)
	if err != nil {
		return fmt.Errorf("page: cannot listen on %q: %w; set listen in [page] to a free address and port, such as 127.0.0.1:8417", s.opt.Listen, plain(err))
	}
	gate := newGate()
	s.listeners = append(s.listeners, gate.guard(l))
	a := l.Addr().(*net.TCPAddr)
	if !a.IP.IsLoopback() && !a.IP.IsUnspecified() {
		// The bench computer itself always finds its page on loopback.
		if l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", a.Port)); err == nil {
			s.listeners = append(s.listeners, gate.guard(l))
		} else {
			s.opt.Log.Warn().Err(err).Msg("the page is not on loopback")
		}
	}
	return nil
}

// plain takes the address out of a listening error, which names it anyway.
func plain(err error) error {
	var op *net.OpError
	if errors.As(err, &op) {
		return op.Err
	}
	return err
}

// Serve answers until ctx ends, then closes the event streams and gives
// requests in progress a moment.
func (s *Server) Serve(ctx context.Context) error {
	errs := make(chan error, len(s.listeners))
	for _, l := range s.listeners {
		go func() { errs <- s.http.Serve(l) }()
	}
	var err error
	select {
	case <-ctx.Done():
	case err = <-errs:
		err = fmt.Errorf("page: %w", err)
	}
	s.closeOnce.Do(func() { close(s.closing) })
	end, cancel := context.WithTimeout(context.Background(), shutdownTime)
	defer cancel()
	if s.http.Shutdown(end) != nil {
		s.http.Close()
	}
	s.hub.stop()
	return err
}

// Close ends a server that was never served.
func (s *Server) Close() {
	for _, l := range s.listeners {
		l.Close()
	}
}

// URL is where the page is on this computer.
func (s *Server) URL() string {
	a := s.addr()
	ip := a.IP
	if ip.IsUnspecified() || (!ip.IsLoopback() && len(s.listeners) > 1) {
		ip = net.IPv4(127, 0, 0, 1)
	}
	return "http://" + net.JoinHostPort(ip.String(), fmt.Sprint(a.Port)) + "/"
}

func (s *Server) addr() *net.TCPAddr { return s.listeners[0].Addr().(*net.TCPAddr) }

// Networked tells whether other computers can reach the page.
func (s *Server) Networked() bool { return !s.addr().IP.IsLoopback() }

// ownNames are the host names this computer answers to besides its addresses.
func ownNames() map[string]bool {
	m := map[string]bool{}
	for _, n := range hostNames() {
		if n = strings.ToLower(strings.TrimSuffix(n, ".")); n != "" {
			m[n] = true
		}
	}
	return m
}
