package port

import (
	"errors"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// Whoever changes the library's version learns here that it calls its
// descriptor otherwise: the program goes on, but each gauge costs a thread and a
// stuck write is not ended by closing.
func TestLibraryLayout(t *testing.T) {
	_, slave := terminal(t)
	p := mustOpen(t, slave, "").(*serialPort)
	if p.ear == nil || p.Note() != "" {
		t.Fatalf("the library reads the line: %q", p.Note())
	}
	fd, ok := handle(p.line, device{id: p.ours.id})
	if !ok {
		t.Fatal("the library's descriptor is not found")
	}
	for what, f := range map[string]int{"the library's": fd, "the ear's": int(fdOf(t, p.ear))} {
		flags, err := unix.FcntlInt(uintptr(f), unix.F_GETFL, 0)
		if err != nil || flags&unix.O_NONBLOCK == 0 {
			t.Errorf("%s descriptor: flags %#x, %v", what, flags, err)
		}
		if flags, err = unix.FcntlInt(uintptr(f), unix.F_GETFD, 0); err != nil || flags&unix.FD_CLOEXEC == 0 {
			t.Errorf("%s descriptor is handed to child processes", what)
		}
	}
	if n := fdOf(t, p.ear); n < earFrom {
		t.Errorf("the ear is descriptor %d and takes room from those that select can wait for", n)
	}
}

func fdOf(t *testing.T, f *os.File) (fd uintptr) {
	t.Helper()
	raw, err := f.SyscallConn() // Fd would make it block
	if err != nil {
		t.Fatal(err)
	}
	if err := raw.Control(func(n uintptr) { fd = n }); err != nil {
		t.Fatal(err)
	}
	return fd
}

// A library that is built otherwise is not guessed at: its own read does, and
// the port says so.
func TestAnotherLayoutIsNotGuessedAt(t *testing.T) {
	_, slave := terminal(t)
	p := mustOpen(t, slave, "").(*serialPort)
	dev := device{id: p.ours.id}
	null, err := os.Open("/dev/null")
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	for name, line := range map[string]serial.Port{
		"no field of that name": &struct{ serial.Port }{p.line},
		"a field of words": &struct {
			serial.Port
			handle string
		}{p.line, "3"},
		"a number that counts something": &struct {
			serial.Port
			handle int
		}{p.line, int(null.Fd())},
		"a descriptor that is closed": &struct {
			serial.Port
			handle int
		}{p.line, 987654},
		"no struct": new(notStruct),
	} {
		if neverBlock(line, dev) {
			t.Errorf("%s: a descriptor was found", name)
		}
		if f, why := ear(line, dev); f != nil || why == "" {
			t.Errorf("%s: %v, %q", name, f, why)
		}
	}
	p.noEar = "the serial library's descriptor is not found"
	if got := p.Note(); !strings.HasPrefix(got, "read by a thread of its own: the serial") {
		t.Errorf("it says %q", got)
	}
	p.noEar = ""
}

type notStruct int

func (notStruct) SetMode(*serial.Mode) error                           { return nil }
func (notStruct) Read([]byte) (int, error)                             { return 0, nil }
func (notStruct) Write([]byte) (int, error)                            { return 0, nil }
func (notStruct) Drain() error                                         { return nil }
func (notStruct) ResetInputBuffer() error                              { return nil }
func (notStruct) ResetOutputBuffer() error                             { return nil }
func (notStruct) SetDTR(bool) error                                    { return nil }
func (notStruct) SetRTS(bool) error                                    { return nil }
func (notStruct) GetModemStatusBits() (*serial.ModemStatusBits, error) { return nil, nil }
func (notStruct) SetReadTimeout(time.Duration) error                   { return nil }
func (notStruct) Close() error                                         { return nil }
func (notStruct) Break(time.Duration) error                            { return nil }

// bothWays runs a test with the line read by the poller and by the library.
func bothWays(t *testing.T, test func(t *testing.T, open func(slave string) Port)) {
	t.Run("poller", func(t *testing.T) {
		test(t, func(slave string) Port { return mustOpen(t, slave, "") })
	})
	t.Run("library", func(t *testing.T) {
		test(t, func(slave string) Port {
			p := mustOpen(t, slave, "").(*serialPort)
			p.ear.Close()
			p.ear = nil
			return p
		})
	})
}

// A hundred lives, ended by turns from here and from the other side while a read
// waits, leave no descriptor, no goroutine and no thread behind, and closing
// twice closes nothing else.
func TestHundredLives(t *testing.T) {
	leaks(t)
	bothWays(t, func(t *testing.T, open func(string) Port) {
		var files, threads int
		for life := range 100 {
			if life == 10 {
				files, threads = count(t, "fd"), count(t, "task")
			}
			m, s, err := pty.Open()
			if err != nil {
				t.Fatal(err)
			}
			slave := s.Name()
			s.Close()
			p := open(slave)
			got := make(chan error, 1)
			go func() {
				b := make([]byte, 16)
				for {
					_, err := p.Read(b)
					got <- err
					if err != nil {
						return
					}
				}
			}()
			m.WriteString("x")
			if err := <-got; err != nil {
				t.Fatalf("life %d: %v", life, err)
			}
			var gone *Gone
			if life%2 == 0 {
				p.Close()
				if err := <-got; !errors.Is(err, ErrClosed) {
					t.Errorf("life %d, closed: %v", life, err)
				}
				m.Close()
			} else {
				m.Close()
				if err := <-got; !errors.As(err, &gone) || !strings.Contains(gone.Why, "unplugged, or the other side hung up") {
					t.Errorf("life %d, hung up: %v", life, err)
				}
				p.Close()
			}
			other, err := os.Open("/dev/null") // takes the number that was just freed
			if err != nil {
				t.Fatal(err)
			}
			p.Close()
			if _, err := other.Read(nil); err != nil {
				t.Errorf("life %d: closing twice closed another file: %v", life, err)
			}
			other.Close()
		}
		if n := count(t, "fd"); n > files {
			t.Errorf("%d descriptors are open, after ten lives it was %d", n, files)
		}
		if n := count(t, "task"); n > threads+5 {
			t.Errorf("%d threads, after ten lives it was %d", n, threads)
		}
	})
}

// count is how many descriptors (fd) or threads (task) this process has.
func count(t *testing.T, what string) int {
	t.Helper()
	all, err := filepath.Glob("/proc/self/" + what + "/*")
	if err != nil {
		t.Fatal(err)
	}
	return len(all)
}

// Signals that interrupt a waiting read neither lose nor end anything, nor does
// a stream that comes faster than it is read.
func TestSignalsAndBursts(t *testing.T) {
	leaks(t)
	bothWays(t, func(t *testing.T, open func(string) Port) {
		m, slave := terminal(t)
		p := open(slave)
		signals := make(chan os.Signal, 1)
		signal.Notify(signals, syscall.SIGUSR1)
		defer signal.Stop(signals)
		const chunks, size = 400, 1000
		go func() {
			b := make([]byte, size)
			for i := range chunks {
				for k := range b {
					b[k] = byte(i + k)
				}
				m.Write(b)
				if i%8 == 0 {
					syscall.Kill(os.Getpid(), syscall.SIGUSR1)
					time.Sleep(100 * time.Microsecond)
				}
			}
		}()
		all := []byte(read(t, p, chunks*size))
		for i := range chunks {
			for k := range size {
				if got, want := all[i*size+k], byte(i+k); got != want {
					t.Fatalf("byte %d of chunk %d is %d, want %d", k, i, got, want)
				}
			}
		}
	})
}

// A line that another program has set to return nothing at once is lost, not
// read in a circle; opening it again sets it right.
func TestLineThatWaitsForNothing(t *testing.T) {
	leaks(t)
	m, slave := terminal(t)
	p := mustOpen(t, slave, "")
	s, err := unix.IoctlGetTermios(int(m.Fd()), unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	s.Cc[unix.VMIN], s.Cc[unix.VTIME] = 0, 0
	if err := unix.IoctlSetTermios(int(m.Fd()), unix.TCSETS, s); err != nil {
		t.Fatal(err)
	}
	m.WriteString("1\n") // whoever waits already is woken by a byte
	var gone *Gone
	for err = nil; err == nil; {
		_, err = p.Read(make([]byte, 16))
	}
	if !errors.As(err, &gone) {
		t.Errorf("read gave %v", err)
	}
	p.Close()
	p = mustOpen(t, slave, "")
	m.WriteString("2\n")
	if got := read(t, p, 2); got != "2\n" {
		t.Errorf("opened again it reads %q", got)
	}
}
