package port

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// holders names the other programs that have the device open or locked.
//
// The kernel's own lock (TIOCEXCL) is not enough: it does not bind root, most
// programs never set it, and on a pseudo-terminal it outlives a killed program
// as long as anyone holds the slave. Whoever holds the pseudo-terminal's master
// is the gauge itself and no rival.
func holders(dev device) []Process {
	by := terminals.users(dev)
	if !dev.pseudo {
		if p, ok := lockFile(dev.path); ok && !contains(by, p.PID) {
			by = append(by, p)
		}
	}
	return by
}

func contains(ps []Process, pid int) bool {
	for _, p := range ps {
		if p.PID == pid {
			return true
		}
	}
	return false
}

// scanLife is how long one look through /proc serves: many ports opened at once
// share it, and no retry sees an old one.
const scanLife = 50 * time.Millisecond

// terminals is the last look through /proc.
var terminals scan

type scan struct {
	mu     sync.Mutex
	at     time.Time
	open   map[string][]int // device path to the processes that have it open
	master map[int][]int    // number of a pseudo-terminal to the holders of its master
}

func (s *scan) users(dev device) (by []Process) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.open == nil || time.Since(s.at) > scanLife {
		s.look("/proc")
	}
	me := os.Getpid()
	var gauges []int
	if dev.pseudo {
		if n, err := strconv.Atoi(filepath.Base(dev.path)); err == nil {
			gauges = s.master[n]
		}
	}
	for _, pid := range s.open[dev.path] {
		if pid != me && !has(gauges, pid) && sameDevice(pid, dev) {
			by = append(by, Process{pid, processName(pid)})
		}
	}
	return by
}

func has(list []int, n int) bool {
	for _, m := range list {
		if m == n {
			return true
		}
	}
	return false
}

// look goes through the file descriptors of every process that this user may
// see. Only links are read, since opening or waiting on anything of another
// program would disturb it.
func (s *scan) look(proc string) {
	s.open, s.master = map[string][]int{}, map[int][]int{}
	defer func() { s.at = time.Now() }()
	dirs, _ := os.ReadDir(proc)
	for _, d := range dirs {
		pid, err := strconv.Atoi(d.Name())
		if err != nil {
			continue
		}
		fds, _ := os.ReadDir(filepath.Join(proc, d.Name(), "fd"))
		for _, fd := range fds {
			to, err := os.Readlink(filepath.Join(proc, d.Name(), "fd", fd.Name()))
			if err != nil || !strings.HasPrefix(to, "/dev/") {
				continue
			}
			if strings.HasSuffix(to, "/ptmx") {
				if n, ok := masterOf(filepath.Join(proc, d.Name(), "fdinfo", fd.Name())); ok {
					s.master[n] = append(s.master[n], pid)
				}
				continue
			}
			if !has(s.open[to], pid) {
				s.open[to] = append(s.open[to], pid)
			}
		}
	}
}

// masterOf reads which pseudo-terminal a descriptor of /dev/ptmx is the master
// of (proc(5), fdinfo: tty-index).
func masterOf(fdinfo string) (int, bool) {
	b, err := os.ReadFile(fdinfo)
	if err != nil {
		return 0, false
	}
	_, rest, ok := strings.Cut(string(b), "tty-index:")
	if !ok {
		return 0, false
	}
	line, _, _ := strings.Cut(rest, "\n")
	n, err := strconv.Atoi(strings.TrimSpace(line))
	return n, err == nil
}

// sameDevice guards against a process of another container, whose /dev/pts/3
// is not ours.
func sameDevice(pid int, dev device) bool {
	var theirs, ours unix.Stat_t
	if unix.Stat(filepath.Join("/proc", strconv.Itoa(pid), "root", dev.path), &theirs) != nil || unix.Stat(dev.path, &ours) != nil {
		return true
	}
	return theirs.Rdev == ours.Rdev && (!dev.pseudo || theirs.Dev == ours.Dev)
}

func processName(pid int) string {
	b, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "comm"))
	if err != nil {
		return "a program"
	}
	return strings.TrimSpace(string(b))
}

// lockFile reads a lock of the Filesystem Hierarchy Standard 3.0, 5.9
// (/var/lock/LCK..ttyS0: the holder's process number in ten characters). One
// whose process is dead locks nothing.
func lockFile(dev string) (Process, bool) {
	for _, dir := range []string{"/var/lock", "/run/lock", "/run/lock/lockdev"} {
		b, err := os.ReadFile(filepath.Join(dir, "LCK.."+filepath.Base(dev)))
		if err != nil {
			continue
		}
		word, _, _ := strings.Cut(strings.TrimSpace(string(b)), "\n")
		pid, err := strconv.Atoi(strings.TrimSpace(word))
		if err != nil || pid <= 0 || pid == os.Getpid() || unix.Kill(pid, 0) == unix.ESRCH {
			continue
		}
		return Process{pid, processName(pid)}, true
	}
	return Process{}, false
}
