package demo

import (
	"net"
	"sync"
)

const wireNote = "this system has no pseudo-terminals: the simulated gauges send over loopback TCP instead"

// wire is a line between a simulated gauge and the daemon: a TCP connection on
// the loopback address.
type wire struct {
	address string
	l       net.Listener
	mu      sync.Mutex
	conn    net.Conn
}

func newWire() (*wire, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	w := &wire{address: "tcp://" + l.Addr().String(), l: l}
	go w.accept()
	return w, nil
}

func (w *wire) accept() {
	for {
		c, err := w.l.Accept()
		if err != nil {
			return
		}
		w.mu.Lock()
		if w.conn != nil {
			w.conn.Close()
		}
		w.conn = c
		w.mu.Unlock()
	}
}

func (w *wire) Write(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.conn == nil {
		return len(b), nil // nobody listens: the gauge sends all the same
	}
	if _, err := w.conn.Write(b); err != nil {
		w.conn.Close()
		w.conn = nil
	}
	return len(b), nil
}

func (w *wire) Close() error { return w.l.Close() }
