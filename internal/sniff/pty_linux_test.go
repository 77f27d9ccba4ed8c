package sniff

import (
	"context"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.uber.org/goleak"

	"thouwright/drivers"
	"thouwright/internal/port"
	"thouwright/internal/simulate/uart"
)

// onPty runs a search at a real pseudo-terminal whose other end is a gauge that
// reads back what was set there.
func onPty(t *testing.T, g uart.Gauge, o Options) *Result {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	address, err := port.ParseAddress(slave.Name())
	if err != nil {
		t.Fatal(err)
	}
	ear, err := OpenEar(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	slave.Close()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		uart.OnPty(master, g).Run(ctx, master)
	}()
	o.Drivers = drivers.BuiltIn().All()
	start := time.Now()
	r, err := Search(ctx, ear, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%s %s in %v: %s", r.Line, r.Driver, time.Since(start).Round(time.Millisecond), r.Why)
	cancel()
	<-done
	if err := ear.Close(); err != nil {
		t.Error(err)
	}
	master.Close()
	return r
}

// On real pseudo-terminals, in real time: what the kernel does to settings and
// bytes is part of it. The cases run side by side; each takes a few seconds.
func TestOnPty(t *testing.T) {
	defer goleak.VerifyNone(t)
	t.Run("all", func(t *testing.T) {
		for _, c := range []trial{
			{"signed-decimal", "9600 8N1", 100 * time.Millisecond, false},
			{"channel-decimal", "19200 8E1", 100 * time.Millisecond, true},
			{"framed-xor", "4800 8O1", 150 * time.Millisecond, false},
			{"tolerance-mark", "115200 8N2", 200 * time.Millisecond, true},
		} {
			t.Run(c.shape, func(t *testing.T) {
				t.Parallel()
				r := onPty(t, gaugeOf(t, c), Options{})
				if !c.right(r) {
					t.Errorf("%+v: found %q at %q, same %v, also %v, tried %+v", c, r.Driver, r.Line, r.Same, r.Also, r.Tried)
				}
			})
		}
		t.Run("seven data bits, which a pseudo-terminal does not have", func(t *testing.T) {
			t.Parallel()
			r := onPty(t, gaugeOf(t, trial{"signed-decimal", "9600 7E1", 100 * time.Millisecond, false}), Options{})
			if r.Sure() || !strings.Contains(r.Why, "look like 9600 7E1") {
				t.Errorf("%+v", r)
			}
		})
		t.Run("asked", func(t *testing.T) {
			t.Parallel()
			g := gaugeOf(t, trial{"signed-decimal", "4800 8N1", 0, false})
			g.Answers = map[string]func() []byte{"?\r": g.Message}
			r := onPty(t, g, Options{Ask: true, Patience: time.Second})
			if r.Driver != "asked-decimal" || r.Line != "4800 8N1" {
				t.Errorf("%+v", r)
			}
		})
	})
}

func gaugeOf(t *testing.T, c trial) uart.Gauge {
	s, err := port.ParseSettings(c.line)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(7, 7))
	return uart.Gauge{Sends: s, Every: c.every, Eager: c.eager, Message: func() []byte { return []byte(shapes[c.shape](r)) }}
}

// What a line is not: silent, pulled, without settings.
func TestOnPtyTrouble(t *testing.T) {
	defer goleak.VerifyNone(t)
	t.Run("pulled", func(t *testing.T) {
		master, slave, err := pty.Open()
		if err != nil {
			t.Fatal(err)
		}
		address, _ := port.ParseAddress(slave.Name())
		ear, err := OpenEar(t.Context(), address)
		if err != nil {
			t.Fatal(err)
		}
		slave.Close()
		io.WriteString(master, "1.5\r\n")
		time.AfterFunc(100*time.Millisecond, func() { master.Close() })
		if r, err := Search(t.Context(), ear, Options{Drivers: drivers.BuiltIn().All()}); err == nil || r.Sure() {
			t.Errorf("%+v %v", r, err)
		}
		ear.Close()
	})
	t.Run("interrupted", func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
		defer cancel()
		master, slave, err := pty.Open()
		if err != nil {
			t.Fatal(err)
		}
		defer master.Close()
		address, _ := port.ParseAddress(slave.Name())
		ear, err := OpenEar(ctx, address)
		if err != nil {
			t.Fatal(err)
		}
		defer ear.Close()
		slave.Close()
		if _, err := Search(ctx, ear, Options{Drivers: drivers.BuiltIn().All()}); err != context.DeadlineExceeded {
			t.Errorf("%v", err)
		}
	})
}
