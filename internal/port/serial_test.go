//go:build linux

package port

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// terminal is a pseudo-terminal of which nobody holds the slave.
func terminal(t testing.TB) (master *os.File, slave string) {
	t.Helper()
	m, s, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	slave = s.Name()
	s.Close()
	t.Cleanup(func() { m.Close() })
	return m, slave
}

// A program started while the port is open, such as one that speaks, does not
// hold it: the gauge that was let go of can be opened at once.
func TestStartedProgramHoldsNoPort(t *testing.T) {
	_, slave := terminal(t)
	p := mustOpen(t, slave, "")
	child := exec.Command("sleep", "60")
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { child.Process.Kill(); child.Wait() }()
	p.Close()
	time.Sleep(scanLife) // who holds what is looked up anew
	mustOpen(t, slave, "").Close()
}

// What the line is set to is read back from the other side of the terminal.
// Linux leaves a pseudo-terminal at 8 data bits and no PARENB, so of the frame
// stop bits and parity show only in CSTOPB, INPCK and PARODD.
func TestSerialSettings(t *testing.T) {
	for _, c := range []struct {
		line  string
		speed uint32
		cflag uint32
		iflag uint32
	}{
		{"9600 8N1", 9600, 0, 0},
		{"4800 7E2", 4800, unix.CSTOPB, unix.INPCK},
		{"115200 8O1", 115200, unix.PARODD, unix.INPCK},
		{"7300 8N2", 7300, unix.CSTOPB, 0},       // no speed of termios
		{"1200 8N1 DTR=off RTS=off", 1200, 0, 0}, // a terminal has no control lines, and that is no reason not to read it
	} {
		m, slave := terminal(t)
		p := mustOpen(t, slave, c.line)
		got, err := unix.IoctlGetTermios(int(m.Fd()), unix.TCGETS2)
		if err != nil {
			t.Fatal(err)
		}
		if got.Ospeed != c.speed || got.Cflag&(unix.CSTOPB|unix.PARODD) != c.cflag || got.Iflag&unix.INPCK != c.iflag {
			t.Errorf("%s: speed %d cflag %#x iflag %#x", c.line, got.Ospeed, got.Cflag, got.Iflag)
		}
		if got.Iflag&(unix.IXON|unix.IXOFF|unix.ICRNL|unix.INLCR|unix.ISTRIP) != 0 || got.Lflag&(unix.ICANON|unix.ECHO|unix.ISIG) != 0 || got.Cflag&unix.CRTSCTS != 0 {
			t.Errorf("%s: not raw: iflag %#x lflag %#x cflag %#x", c.line, got.Iflag, got.Lflag, got.Cflag)
		}
		p.Close()
		m.Close()
	}
}

func TestSerialBytes(t *testing.T) {
	leaks(t)
	m, slave := terminal(t)
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	p := mustOpen(t, slave, "")
	m.Write(all)
	if got := read(t, p, 256); got != string(all) {
		t.Errorf("read %q", got)
	}
	if _, err := p.Write(all); err != nil {
		t.Fatal(err)
	}
	if got := read(t, m, 256); got != string(all) {
		t.Errorf("wrote %q", got)
	}
}

// Bytes from before the opening are no reading of now.
func TestStaleBytesAreDropped(t *testing.T) {
	m, slave := terminal(t)
	mustOpen(t, slave, "").Close() // leaves the terminal raw
	m.WriteString("stale\n")
	p := mustOpen(t, slave, "")
	m.WriteString("fresh\n")
	if got := read(t, p, 6); got != "fresh\n" {
		t.Errorf("read %q", got)
	}
}

// A hang-up and our own close are told apart, while a read waits.
func TestHangUpAndClose(t *testing.T) {
	leaks(t)
	for _, c := range []struct {
		name string
		end  func(m *os.File, p Port)
		want func(error) bool
	}{
		{"hang-up", func(m *os.File, p Port) { m.Close() }, func(err error) bool { var g *Gone; return errors.As(err, &g) }},
		{"close", func(m *os.File, p Port) { p.Close() }, func(err error) bool { return errors.Is(err, ErrClosed) }},
	} {
		m, slave := terminal(t)
		p := mustOpen(t, slave, "")
		got := make(chan error, 1)
		go func() {
			_, err := p.Read(make([]byte, 16))
			got <- err
		}()
		time.Sleep(20 * time.Millisecond)
		c.end(m, p)
		if err := <-got; !c.want(err) {
			t.Errorf("%s: read gave %v", c.name, err)
		}
		if _, err := p.Read(make([]byte, 16)); err == nil {
			t.Errorf("%s: a second read gave no error", c.name)
		}
		p.Close()
	}
}

// A request to a terminal that nobody reads does not block for ever.
func TestStuckWrite(t *testing.T) {
	leaks(t)
	_, slave := terminal(t)
	p := mustOpen(t, slave, "")
	got := make(chan error, 1)
	go func() {
		for {
			if _, err := p.Write(make([]byte, 1000)); err != nil {
				got <- err
				return
			}
		}
	}()
	var gone *Gone
	if err := <-got; !errors.As(err, &gone) || !strings.Contains(gone.Why, "takes no more bytes") {
		t.Errorf("write gave %v", err)
	}
	go func() {
		for {
			if _, err := p.Write(make([]byte, 1000)); err != nil {
				got <- err
				return
			}
		}
	}()
	time.Sleep(50 * time.Millisecond)
	p.Close()
	if err := <-got; !errors.Is(err, ErrClosed) {
		t.Errorf("after close write gave %v", err)
	}
}

func TestAbsent(t *testing.T) {
	dir := t.TempDir()
	_, err := open(t, dir+"/usb-none", "")
	var absent *Absent
	if !errors.As(err, &absent) || absent.Do == "" {
		t.Errorf("got %v", err)
	}
	m, slave := terminal(t)
	link := dir + "/dial"
	os.Symlink(slave, link)
	m.Close()
	if _, err := open(t, link, ""); !errors.As(err, &absent) {
		t.Errorf("a link to nothing: %v", err)
	}
	os.WriteFile(dir+"/file", nil, 0o666)
	var bad *BadAddress
	if _, err := open(t, dir+"/file", ""); !errors.As(err, &bad) || !strings.Contains(err.Error(), "tape:") {
		t.Errorf("a file: %v", err)
	}
	if _, err := open(t, "/dev/null", ""); !errors.As(err, &bad) {
		t.Errorf("no serial line: %v", err)
	}
	_, slave = terminal(t)
	if _, err := open(t, slave, "9600 8N1.5"); !errors.As(err, &bad) || !strings.Contains(err.Error(), "9600 8N1.5") {
		t.Errorf("stop bits this system has not: %v", err)
	}
}

// One device under two names is not read twice.
func TestTwoNames(t *testing.T) {
	_, slave := terminal(t)
	link := t.TempDir() + "/by-id"
	os.Symlink(slave, link)
	p := mustOpen(t, slave, "")
	_, err := open(t, link, "")
	var held *Held
	if !errors.As(err, &held) || !strings.Contains(err.Error(), slave) {
		t.Errorf("got %v", err)
	}
	p.Close()
	mustOpen(t, link, "")
}

// TestMain is also the other program: one that holds a terminal, and one that
// opens it as another user.
func TestMain(m *testing.M) {
	if slave := os.Getenv("THOUWRIGHT_TEST_HOLD"); slave != "" {
		os.Exit(hold(slave))
	}
	if slave := os.Getenv("THOUWRIGHT_TEST_OPEN"); slave != "" {
		a, _ := ParseAddress(slave)
		_, err := Open(context.Background(), a, Settings{})
		fmt.Println(err)
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func hold(slave string) int {
	f, err := os.OpenFile(slave, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		fmt.Println(err)
		return 1
	}
	defer f.Close()
	fmt.Println("holding")
	bufio.NewReader(os.Stdin).ReadString('\n')
	return 0
}

// A port that another program has open, though it never locked it, is left to
// that program, which is named.
func TestHeld(t *testing.T) {
	_, slave := terminal(t)
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "THOUWRIGHT_TEST_HOLD="+slave)
	in, _ := cmd.StdinPipe()
	out, _ := cmd.StdoutPipe()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if line, _ := bufio.NewReader(out).ReadString('\n'); line != "holding\n" {
		t.Fatalf("holder says %q", line)
	}
	time.Sleep(2 * scanLife)
	_, err := open(t, slave, "")
	var held *Held
	if !errors.As(err, &held) || len(held.By) != 1 || held.By[0].PID != cmd.Process.Pid {
		t.Errorf("got %v, want held by %d", err, cmd.Process.Pid)
	} else if name := filepath.Base(os.Args[0]); !strings.Contains(err.Error(), name[:min(15, len(name))]) {
		t.Errorf("%q does not name %s", err, name)
	}
	in.Close()
	cmd.Wait()
	time.Sleep(2 * scanLife)
	mustOpen(t, slave, "")
}

// The kernel's lock binds everybody but root, so the other program runs as
// nobody where this one is root; and whoever may not open a device is told what
// to type.
func TestLockedAndDenied(t *testing.T) {
	_, slave := terminal(t)
	os.Chmod(slave, 0o666)
	p := mustOpen(t, slave, "")
	if out := another(t, slave); !strings.Contains(out, "held by") && !strings.Contains(out, "locked by another program") {
		t.Errorf("locked: %q", out)
	}
	p.Close()
	os.Chmod(slave, 0)
	if out := another(t, slave); !strings.Contains(out, "may not open it: type 'sudo chown ") || !strings.Contains(out, slave) {
		t.Errorf("denied: %q", out)
	}
}

func TestDeniedNamesTheGroup(t *testing.T) {
	file := filepath.Join(t.TempDir(), "ttyUSB0")
	os.WriteFile(file, nil, 0o660)
	os.Chmod(file, 0o660)
	gid := os.Getgid()
	if os.Getuid() == 0 {
		gid = 20 // any but root's own
		os.Chown(file, 0, gid)
	}
	group := fmt.Sprint(gid)
	if g, err := user.LookupGroupId(group); err == nil {
		group = g.Name
	}
	me, err := user.Current()
	if err != nil {
		t.Fatal(err)
	}
	want := fmt.Sprintf("%s: user %s may not open it; the group %s may: type 'sudo usermod -aG %s %s', then log out and in again", file, me.Username, group, group, me.Username)
	if got := denied(Address{Text: file}, file).Error(); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// another is what a second program says of opening the terminal.
func another(t *testing.T, slave string) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "thouwright")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	os.Chmod(dir, 0o755)
	b, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	bin := filepath.Join(dir, "other")
	os.WriteFile(bin, b, 0o755)
	cmd := exec.Command(bin)
	cmd.Env = []string{"THOUWRIGHT_TEST_OPEN=" + slave}
	if os.Getuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	}
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return string(out)
}
