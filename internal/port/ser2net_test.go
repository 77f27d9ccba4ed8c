//go:build linux

package port

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// ser2net (Debian's package) serves the slave of a pseudo-terminal: a server
// that somebody else wrote against RFC 2217.
type ser2net struct {
	master  *os.File
	address string
	stop    func()
}

func startSer2net(t *testing.T, m *os.File, slave, address string) *ser2net {
	t.Helper()
	bin, err := exec.LookPath("ser2net")
	if err != nil {
		t.Fatal("ser2net is missing: apt-get install ser2net")
	}
	if address == "" {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		address = l.Addr().String()
		l.Close()
	}
	host, number, _ := net.SplitHostPort(address)
	conf := filepath.Join(t.TempDir(), "ser2net.yaml")
	text := fmt.Sprintf("connection: &gauge\n  accepter: telnet(rfc2217),tcp,%s,%s\n  connector: serialdev,%s,9600n81,local\n  options:\n    kickolduser: true\n", host, number, slave)
	if err := os.WriteFile(conf, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(bin, "-n", "-d", "-u", "-c", conf)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s := &ser2net{master: m, address: "rfc2217://" + address}
	stopped := false
	s.stop = func() {
		if !stopped {
			stopped = true
			cmd.Process.Kill()
			cmd.Wait()
		}
	}
	t.Cleanup(func() {
		s.stop()
		if t.Failed() {
			t.Logf("ser2net said: %s", out.String())
		}
	})
	for range 200 {
		if c, err := net.Dial("tcp", address); err == nil {
			c.Close()
			time.Sleep(50 * time.Millisecond)
			return s
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatalf("ser2net does not listen: %s", out.String())
	return nil
}

func (s *ser2net) termios(t *testing.T) *unix.Termios {
	t.Helper()
	got, err := unix.IoctlGetTermios(int(s.master.Fd()), unix.TCGETS2)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestSer2net(t *testing.T) {
	leaks(t)
	m, slave := terminal(t)
	s := startSer2net(t, m, slave, "")
	p := mustOpen(t, s.address, "4800 8O2")
	if got := s.termios(t); got.Ospeed != 4800 || got.Cflag&unix.CSTOPB == 0 || got.Cflag&unix.PARODD == 0 {
		t.Errorf("4800 8O2: speed %d cflag %#x iflag %#x", got.Ospeed, got.Cflag, got.Iflag)
	}
	if err := p.(Resetter).Reset(Settings{Baud: 19200, DataBits: 8}); err != nil {
		t.Error(err)
	}
	// ser2net leaves PARODD as it was where PARENB, which a terminal has not, is off.
	if got := s.termios(t); got.Ospeed != 19200 || got.Cflag&unix.CSTOPB != 0 {
		t.Errorf("19200 8N1: speed %d cflag %#x", got.Ospeed, got.Cflag)
	}

	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	m.Write(all)
	if got := read(t, p, 256); got != string(all) {
		t.Errorf("read %q", got)
	}
	p.Write(all)
	if got := read(t, m, 256); got != string(all) {
		t.Errorf("wrote %q", got)
	}
	if err := p.(Breaker).Break(10 * time.Millisecond); err != nil {
		t.Errorf("break: %v", err)
	}
	if err := p.(Breaker).Purge(); err != nil {
		t.Errorf("purge: %v", err)
	}
	m.WriteString("after")
	if got := read(t, p, 5); got != "after" {
		t.Errorf("after break and purge: %q", got)
	}

	if err := p.(Resetter).Reset(Settings{Baud: 9600, DataBits: 7, Parity: EvenParity}); err != nil {
		t.Errorf("7E1: %v", err)
	}

	// The server dies and comes back.
	s.stop()
	var gone *Gone
	if _, err := p.Read(make([]byte, 1)); !errors.As(err, &gone) {
		t.Errorf("server gone: %v", err)
	}
	p.Close()
	s = startSer2net(t, m, slave, strings.TrimPrefix(s.address, "rfc2217://"))
	p = mustOpen(t, s.address, "9600 8N1")
	m.WriteString("again")
	if got := read(t, p, 5); got != "again" {
		t.Errorf("after the server came back: %q", got)
	}
	p.Close()
}
