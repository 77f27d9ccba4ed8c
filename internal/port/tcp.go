package port

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"syscall"
	"time"
)

// Network constants: a bench is a local network, so what takes longer is gone.
const (
	dialTimeout   = 3 * time.Second
	writeTimeout  = 2 * time.Second
	keepAliveIdle = 5 * time.Second // a cable that was pulled is noticed in about 15 s
	keepAliveStep = 3 * time.Second
	keepAliveMost = 3
)

// tcpPort is a plain stream of bytes.
type tcpPort struct {
	name   string
	conn   net.Conn
	closed atomic.Bool
	once   sync.Once
}

func openTCP(ctx context.Context, a Address) (Port, error) {
	conn, err := dial(ctx, a)
	if err != nil {
		return nil, err
	}
	return &tcpPort{name: a.Text, conn: conn}, nil
}

func dial(ctx context.Context, a Address) (net.Conn, error) {
	d := net.Dialer{
		Timeout:         dialTimeout,
		KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: keepAliveIdle, Interval: keepAliveStep, Count: keepAliveMost},
	}
	conn, err := d.DialContext(ctx, "tcp", a.Host)
	if err == nil {
		return conn, nil
	}
	var dns *net.DNSError
	switch {
	case errors.Is(err, syscall.ECONNREFUSED):
		return nil, &Absent{a.Text, "the computer is there but nobody listens at " + a.Host, "start the server on it; it is found by itself"}
	case errors.As(err, &dns):
		return nil, &Absent{a.Text, "no computer of that name is known", "check the name or write its number"}
	case ctx.Err() != nil:
		return nil, ctx.Err()
	}
	return nil, &Absent{a.Text, fmt.Sprintf("cannot be reached (%v)", unwrapNet(err)), "check its cable and power; it is found by itself"}
}

// unwrapNet drops the addresses that net puts before its errors.
func unwrapNet(err error) error {
	var op *net.OpError
	if errors.As(err, &op) {
		return op.Err
	}
	return err
}

func (p *tcpPort) Read(b []byte) (int, error) {
	n, err := p.conn.Read(b)
	if n > 0 {
		return n, nil
	}
	return 0, p.lost(err)
}

func (p *tcpPort) lost(err error) error {
	switch {
	case p.closed.Load():
		return ErrClosed
	case errors.Is(err, io.EOF):
		return &Gone{p.name, "the other side closed the connection"}
	}
	return &Gone{p.name, fmt.Sprintf("the connection broke (%v)", unwrapNet(err))}
}

func (p *tcpPort) Write(b []byte) (int, error) {
	p.conn.SetWriteDeadline(time.Now().Add(writeTimeout))
	n, err := p.conn.Write(b)
	if err != nil {
		return n, p.lost(err)
	}
	return n, nil
}

func (p *tcpPort) Close() (err error) {
	p.once.Do(func() {
		p.closed.Store(true)
		err = p.conn.Close()
	})
	return err
}
