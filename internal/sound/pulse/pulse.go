// Package pulse speaks to a PulseAudio or PipeWire server: one short stream a
// sound, opened when it is needed. It uses the protocol half of
// github.com/jfreymuth/pulse; the library's own streams can wait for ever for a
// server that dies, and its own Connect for one that dies at the greeting.
package pulse

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"github.com/jfreymuth/pulse/proto"
)

const (
	dialPatience = 500 * time.Millisecond
	patience     = time.Second           // for one answer of the server
	lead         = 40 * time.Millisecond // of sound that the server keeps ready for its device
	fade         = 12 * time.Millisecond
	preroll      = 4 * time.Millisecond // of silence: up to 3 ms of a new stream were found missing in a recording
)

// Conn is a connection to a server. It may be used by several goroutines.
type Conn struct {
	c    *proto.Client
	net  net.Conn
	gone chan struct{}
	shut atomic.Bool
	last atomic.Uint32 // stream number
	heed atomic.Pointer[func(*proto.DataPacket)]
}

// Dial connects to the server that the environment names (PULSE_SERVER), else to
// the user's own, else to the computer's.
func Dial(ctx context.Context) (*Conn, error) {
	last := errors.New("PULSE_SERVER names no server: expected unix:/PATH or tcp:HOST")
	for _, a := range addresses() {
		c, err := DialAddress(ctx, a[0], a[1])
		if err == nil {
			return c, nil
		}
		last = err
	}
	return nil, last
}

// DialAddress connects to a server at a network ("unix", "tcp") and address.
func DialAddress(ctx context.Context, network, address string) (*Conn, error) {
	d := net.Dialer{Timeout: dialPatience}
	nc, err := d.DialContext(ctx, network, address)
	if err != nil {
		return nil, err
	}
	c := &Conn{net: nc, gone: make(chan struct{})}
	c.c = &proto.Client{Callback: func(msg any) {
		if p, ok := msg.(*proto.DataPacket); ok {
			if f := c.heed.Load(); f != nil {
				(*f)(p)
			}
		}
	}}
	c.c.SetTimeout(patience)
	c.c.Open(watched{nc, c.hungUp})
	if err := c.greet(); err != nil {
		c.Close()
		return nil, err
	}
	return c, nil
}

// watched tells when reading ends, whatever ended it.
type watched struct {
	net.Conn
	ended func()
}

func (w watched) Read(b []byte) (int, error) {
	n, err := w.Conn.Read(b)
	if err != nil {
		w.ended()
	}
	return n, err
}

func (c *Conn) hungUp() {
	if !c.shut.Swap(true) {
		close(c.gone)
		c.net.Close()
	}
}

func (c *Conn) greet() error {
	var reply proto.AuthReply
	if err := c.c.Request(&proto.Auth{Version: c.c.Version(), Cookie: cookie()}, &reply); err != nil {
		return fmt.Errorf("the sound server refuses: %w", err)
	}
	c.c.SetVersion(reply.Version)
	return c.c.Request(&proto.SetClientName{Props: proto.PropList{
		"application.name":       proto.PropListString("thouwright"),
		"application.process.id": proto.PropListString(fmt.Sprint(os.Getpid())),
	}}, &proto.SetClientNameReply{})
}

// nobody is the sink that a server makes up where it has no device at all.
const nobody = "auto_null"

// ErrNoDevice is returned where the server has nothing to play on.
var ErrNoDevice = errors.New("the sound server has no device to play on")

// Hears tells whether the server has a device to play on.
func (c *Conn) Hears() error {
	var info proto.GetServerInfoReply
	if err := c.c.Request(&proto.GetServerInfo{}, &info); err != nil {
		return c.dead(err)
	}
	if info.DefaultSinkName == nobody {
		return ErrNoDevice
	}
	return nil
}

// Gone is closed when the connection has ended.
func (c *Conn) Gone() <-chan struct{} { return c.gone }

// Close ends the connection.
func (c *Conn) Close() { c.hungUp() }

// Play plays mono samples and returns when the last is heard. When cut is
// closed the sound is faded out instead of going on. sent tells whether
// anything reached the server.
func (c *Conn) Play(pcm []int16, rate int, cut <-chan struct{}) (sent bool, err error) {
	per := func(d time.Duration) int { return int(d.Seconds() * float64(rate)) }
	var reply proto.CreatePlaybackStreamReply
	err = c.c.Request(&proto.CreatePlaybackStream{
		SampleSpec:            proto.SampleSpec{Format: proto.FormatInt16LE, Channels: 1, Rate: uint32(rate)},
		ChannelMap:            proto.ChannelMap{proto.ChannelMono},
		SinkIndex:             proto.Undefined,
		SyncID:                c.last.Add(1), // streams of one number are one sound to the server
		BufferMaxLength:       4 << 20,
		BufferTargetLength:    uint32(2 * per(lead)),
		BufferPrebufferLength: 2, // start with the first sample that comes
		BufferMinimumRequest:  proto.Undefined,
		ChannelVolumes:        proto.ChannelVolumes{0x10000}, // as loud as the samples say
		AdjustLatency:         true,
		Properties:            proto.PropList{"media.role": proto.PropListString("event"), "media.name": proto.PropListString("tone")},
	}, &reply)
	if err != nil {
		return false, c.dead(err)
	}
	// Every way out deletes the stream, so that a server that lives keeps none.
	defer c.c.Request(&proto.DeletePlaybackStream{StreamIndex: reply.StreamIndex}, nil)
	if reply.SinkName == nobody {
		return false, ErrNoDevice
	}
	send := func(s []int16) error {
		b := make([]byte, 0, 2*len(s))
		for _, v := range s {
			b = binary.LittleEndian.AppendUint16(b, uint16(v))
		}
		return c.c.Send(reply.StreamIndex, b)
	}
	pcm = append(make([]int16, per(preroll), per(preroll)+len(pcm)), pcm...)
	// All of it at once: then a busy computer can't tear a hole into the sound.
	if err := send(pcm); err != nil {
		return false, c.dead(err)
	}
	began := time.Now()
	end := time.NewTimer(time.Duration(len(pcm)) * time.Second / time.Duration(rate))
	defer end.Stop()
	select {
	case <-end.C:
	case <-c.gone:
		return true, io.ErrUnexpectedEOF
	case <-cut:
		// What is not yet heard is taken back, and the sound goes out softly
		// from about where it is.
		at := min(per(time.Since(began)), len(pcm))
		tail := append([]int16(nil), pcm[at:min(len(pcm), at+per(fade))]...)
		for i := range tail {
			tail[i] = int16(float64(tail[i]) * float64(len(tail)-i) / float64(len(tail)))
		}
		if err := c.c.Request(&proto.FlushPlaybackStream{StreamIndex: reply.StreamIndex}, nil); err != nil {
			return true, c.dead(err)
		}
		if err := send(tail); err != nil {
			return true, c.dead(err)
		}
	}
	// A device that had to wake up first may need longer than an answer takes;
	// that alone is no reason to give the connection up.
	return true, c.c.Request(&proto.DrainPlaybackStream{StreamIndex: reply.StreamIndex}, nil)
}

// dead ends a connection that does not answer: whoever comes next makes a new
// one instead of waiting again. A refusal of the server's is an answer.
func (c *Conn) dead(err error) error {
	var refusal proto.Error
	if err != nil && !errors.As(err, &refusal) {
		c.Close()
	}
	return err
}

// Record asks for a source's samples, mono at rate, in pieces as small as the
// server makes them. heed is called on the connection's own goroutine.
func (c *Conn) Record(source string, rate int, heed func(pcm []int16)) error {
	f := func(p *proto.DataPacket) {
		pcm := make([]int16, len(p.Data)/2)
		for i := range pcm {
			pcm[i] = int16(binary.LittleEndian.Uint16(p.Data[2*i:]))
		}
		heed(pcm)
	}
	c.heed.Store(&f)
	return c.c.Request(&proto.CreateRecordStream{
		SampleSpec:      proto.SampleSpec{Format: proto.FormatInt16LE, Channels: 1, Rate: uint32(rate)},
		ChannelMap:      proto.ChannelMap{proto.ChannelMono},
		SourceIndex:     proto.Undefined,
		SourceName:      source,
		BufferMaxLength: proto.Undefined,
		BufferFragSize:  uint32(2 * rate / 500),
		AdjustLatency:   true,

		DirectOnInputIndex: proto.Undefined,
		ChannelVolumes:     proto.ChannelVolumes{0x10000},
	}, &proto.CreateRecordStreamReply{})
}

// addresses lists network and address of the servers to try.
func addresses() (out [][2]string) {
	named, ok := os.LookupEnv("PULSE_SERVER")
	if !ok || strings.TrimSpace(named) == "" {
		if dir := os.Getenv("XDG_RUNTIME_DIR"); dir != "" {
			out = append(out, [2]string{"unix", filepath.Join(dir, "pulse", "native")})
		}
		if dir := os.Getenv("PULSE_RUNTIME_PATH"); dir != "" {
			out = append(out, [2]string{"unix", filepath.Join(dir, "native")})
		}
		return append(out, [2]string{"unix", "/run/pulse/native"}) // one for the whole computer
	}
	host, _ := os.Hostname()
	for _, s := range strings.Fields(named) {
		if rest, braced := strings.CutPrefix(s, "{"); braced {
			only, after, ok := strings.Cut(rest, "}")
			if !ok || only != host {
				continue
			}
			s = after
		}
		network, addr, ok := strings.Cut(s, ":")
		switch {
		case strings.HasPrefix(s, "/"):
			out = append(out, [2]string{"unix", s})
		case ok && network == "unix":
			out = append(out, [2]string{"unix", addr})
		case ok && (network == "tcp" || network == "tcp4" || network == "tcp6"):
			out = append(out, [2]string{network, withPort(addr)})
		}
	}
	return out
}

// withPort adds the protocol's own port where none is written.
func withPort(addr string) string {
	if _, _, err := net.SplitHostPort(addr); err == nil {
		return addr
	}
	return net.JoinHostPort(strings.Trim(addr, "[]"), "4713")
}

// cookie is the user's key to the server; one that lets everybody in takes any.
func cookie() []byte {
	file := os.Getenv("PULSE_COOKIE")
	if file == "" {
		if dir, err := os.UserConfigDir(); err == nil {
			file = filepath.Join(dir, "pulse", "cookie")
		}
	}
	if b, err := os.ReadFile(file); err == nil && len(b) == 256 {
		return b
	}
	return make([]byte, 256)
}
