// Package porttest is what tests of ports have at the far end of the line.
package porttest

import (
	"net"
	"sync"
	"testing"
)

// ComServer is a server of RFC 2217, as far as a port needs one to be opened:
// it takes every setting and tells of its control lines.
type ComServer struct {
	listener net.Listener
	mu       sync.Mutex
	conn     net.Conn
}

// NewComServer is one on a free loopback port that ends with the test.
func NewComServer(t testing.TB) *ComServer {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &ComServer{listener: l}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			s.mu.Lock()
			s.conn = c
			s.mu.Unlock()
			s.serve(c)
		}
	}()
	t.Cleanup(func() {
		l.Close()
		s.mu.Lock()
		if s.conn != nil {
			s.conn.Close()
		}
		s.mu.Unlock()
		<-done
	})
	return s
}

// Bytes of RFC 854 and RFC 2217.
const (
	telnetIAC, telnetWill, telnetDo, telnetSB, telnetSE = 255, 251, 253, 250, 240
	comPortOption, comAnswers, comModemState            = 44, 100, 7
)

func (s *ComServer) serve(c net.Conn) {
	defer c.Close()
	b := make([]byte, 1024)
	var in []byte
	for {
		n, err := c.Read(b)
		in = append(in, b[:n]...)
		for len(in) >= 3 && in[0] == telnetIAC {
			switch in[1] {
			case telnetWill, telnetDo:
				answer := byte(telnetDo)
				if in[1] == telnetDo {
					answer = telnetWill
				}
				s.write(telnetIAC, answer, in[2])
				in = in[3:]
				continue
			case telnetSB:
				end := -1
				for i := 2; i+1 < len(in) && end < 0; i++ {
					if in[i] == telnetIAC && in[i+1] == telnetSE {
						end = i
					}
				}
				if end < 0 {
					break
				}
				answer := append([]byte{}, in[:end+2]...)
				answer[3] += comAnswers
				s.write(answer...)
				in = in[end+2:]
				continue
			default:
				in = in[3:]
				continue
			}
			break
		}
		if err != nil {
			return
		}
	}
}

// Addr is where it listens, as in rfc2217://ADDR.
func (s *ComServer) Addr() string { return s.listener.Addr().String() }

// Send is what the gauge behind it sends; nothing while nobody listens.
func (s *ComServer) Send(text string) { s.write([]byte(text)...) }

func (s *ComServer) write(b ...byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.conn != nil {
		s.conn.Write(b)
	}
}

// CTS sets that control line, and tells of it.
func (s *ComServer) CTS(on bool) {
	state := byte(0)
	if on {
		state = 1 << 4
	}
	s.write(telnetIAC, telnetSB, comPortOption, comModemState+comAnswers, state, telnetIAC, telnetSE)
}
