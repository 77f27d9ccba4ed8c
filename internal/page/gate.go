package page

import (
	"net"
	"sync"
)

// Connections at once: from one other computer, from all others together, and
// in total. What is left over is for the bench computer itself, so strangers
// cannot shut its own screen out.
const (
	connsFrom    = 48
	connsOutside = 256
	connsAll     = 768
)

// gate counts connections over all listeners and shuts the surplus at once,
// which costs a flood more than it costs the bench.
type gate struct {
	mu      sync.Mutex
	all     int
	outside int
	from    map[string]int
}

func newGate() *gate { return &gate{from: map[string]int{}} }

func (g *gate) guard(l net.Listener) net.Listener { return &gated{l, g} }

// enter takes a place for an address; ok is false when there is none.
func (g *gate) enter(ip net.IP) (leave func(), ok bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	who, home := string(ip.To16()), ip.IsLoopback()
	if g.all >= connsAll || !home && (g.outside >= connsOutside || g.from[who] >= connsFrom) {
		return nil, false
	}
	g.all++
	if !home {
		g.outside++
		g.from[who]++
	}
	var once sync.Once
	return func() {
		once.Do(func() {
			g.mu.Lock()
			defer g.mu.Unlock()
			g.all--
			if !home {
				g.outside--
				if g.from[who]--; g.from[who] == 0 {
					delete(g.from, who)
				}
			}
		})
	}, true
}

type gated struct {
	net.Listener
	gate *gate
}

func (l *gated) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		a, _ := c.RemoteAddr().(*net.TCPAddr)
		if a == nil {
			c.Close()
			continue
		}
		leave, ok := l.gate.enter(a.IP)
		if !ok {
			c.Close()
			continue
		}
		return &counted{c, leave}, nil
	}
}

type counted struct {
	net.Conn
	leave func()
}

func (c *counted) Close() error {
	c.leave()
	return c.Conn.Close()
}
