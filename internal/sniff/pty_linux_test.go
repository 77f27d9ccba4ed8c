package sniff

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"strings"
	"sync"
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
func onPty(t *testing.T, g uart.Gauge, o Options) (r *Result, took time.Duration, err error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, 0, err
	}
	defer master.Close()
	address, err := port.ParseAddress(slave.Name())
	if err != nil {
		return nil, 0, err
	}
	ear, err := OpenEar(t.Context(), address)
	slave.Close()
	if err != nil {
		return nil, 0, err
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		uart.OnPty(master, g).Run(ctx, master)
	}()
	o.Drivers = drivers.BuiltIn().All()
	start := time.Now()
	r, err = Search(ctx, ear, o)
	took = time.Since(start)
	cancel()
	<-done
	return r, took, errors.Join(err, ear.Close())
}

// On real pseudo-terminals, in real time: what the kernel does to settings and
// bytes is part of it. The cases run side by side, as they mostly wait.
func TestOnPty(t *testing.T) {
	defer goleak.VerifyNone(t)
	asked := gaugeOf(t, trial{"signed-decimal", "4800 8N1", 0, false})
	asked.Answers = map[string]func() []byte{"?\r": asked.Message}
	var wg sync.WaitGroup
	run := func(name string, g uart.Gauge, o Options, good func(*Result) bool) {
		wg.Go(func() {
			r, took, err := onPty(t, g, o)
			if err != nil || !good(r) {
				t.Errorf("%s: %+v, %v", name, r, err)
				return
			}
			t.Logf("%s: %s %s in %v, %s", name, r.Line, r.Driver, took.Round(time.Millisecond), r.Why)
		})
	}
	for _, c := range []trial{
		{"signed-decimal", "9600 8N1", 100 * time.Millisecond, false},
		{"channel-decimal", "19200 8E1", 100 * time.Millisecond, true},
		{"framed-xor", "4800 8O1", 150 * time.Millisecond, false},
		{"tolerance-mark", "115200 8N2", 200 * time.Millisecond, true},
	} {
		run(c.shape, gaugeOf(t, c), Options{}, c.right)
	}
	run("seven data bits, which a pseudo-terminal does not have",
		gaugeOf(t, trial{"signed-decimal", "9600 7E1", 100 * time.Millisecond, false}), Options{},
		func(r *Result) bool { return !r.Sure() && strings.Contains(r.Why, "look like 9600 7E1") })
	run("asked", asked, Options{Ask: true, Patience: time.Second},
		func(r *Result) bool { return r.Driver == "asked-decimal" && r.Line == "4800 8N1" })
	wg.Wait()
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
