//go:build unix

package port

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"reflect"
	"runtime"
	"strconv"
	"strings"
	"syscall"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// deviceID is what a device is, whatever it is called.
type deviceID struct{ rdev uint64 }

// device is what an address leads to at this moment.
type device struct {
	path   string // without symbolic links
	id     deviceID
	pseudo bool // the slave of a pseudo-terminal
}

// resolve follows the address's links anew at each try, since a replugged
// adapter may come back under another number.
func resolve(a Address) (device, error) {
	path, err := filepath.EvalSymlinks(a.Path)
	if err == nil {
		if abs, e := filepath.Abs(path); e == nil {
			path = abs
		}
		var st unix.Stat_t
		if err = unix.Stat(path, &st); err == nil {
			if st.Mode&unix.S_IFMT != unix.S_IFCHR {
				return device{}, &BadAddress{a.Text, "it is no device; write tape:" + a.Path + " where it is a tape"}
			}
			if unix.Major(uint64(st.Rdev)) == 1 && runtime.GOOS == "linux" { // /dev/null and its like
				return device{}, &BadAddress{a.Text, "it is no serial line"}
			}
			return device{path, deviceID{uint64(st.Rdev)}, strings.HasPrefix(path, "/dev/pts/")}, nil
		}
	}
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, unix.ENOTDIR):
		return device{}, absent(a)
	case errors.Is(err, fs.ErrPermission):
		return device{}, denied(a, a.Path)
	}
	return device{}, &Absent{a.Text, fmt.Sprintf("cannot be found (%v)", err), "see 'thouwright ports'"}
}

// isGone tells the errors of a device that was pulled or hung up.
func isGone(err error) bool {
	return errors.Is(err, unix.EIO) || errors.Is(err, unix.ENXIO) || errors.Is(err, unix.ENODEV) || errors.Is(err, unix.EBADF)
}

// mostDescriptors leaves room for the pipe that the library opens as well.
const mostDescriptors = 1024 - 8

// roomForDescriptors tells whether the next file descriptor is one that select
// can wait for.
func roomForDescriptors() error {
	fd, err := unix.Open("/dev/null", unix.O_RDONLY|unix.O_CLOEXEC, 0)
	if err != nil {
		return fmt.Errorf("no file can be opened any more (%w)", err)
	}
	unix.Close(fd)
	if fd >= mostDescriptors {
		return fmt.Errorf("this program has %d files open already", fd)
	}
	return nil
}

// denied names the user, the group that may, and what to type.
func denied(a Address, path string) error {
	d := &Denied{Address: a.Text, User: "number " + strconv.Itoa(os.Getuid())}
	if u, err := user.Current(); err == nil {
		d.User = u.Username
	}
	info, err := os.Stat(path)
	if err != nil {
		d.Command = fmt.Sprintf("sudo ls -l %s shows who may", path)
		return d
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if ok && info.Mode()&0o060 == 0o060 && st.Gid != 0 {
		d.Group = strconv.Itoa(int(st.Gid))
		if g, err := user.LookupGroupId(d.Group); err == nil {
			d.Group = g.Name
		}
		d.Command = fmt.Sprintf("type 'sudo usermod -aG %s %s', then log out and in again", d.Group, d.User)
		return d
	}
	d.Command = fmt.Sprintf("type 'sudo chown %s %s' (lasts until it is plugged in again)", d.User, path)
	return d
}

// openLine opens the line and keeps its descriptor from programs that are started
// here: one that speaks would hold a port that was let go of. The library opens
// without O_CLOEXEC, so nothing may be started in between.
func openLine(dev device, m *serial.Mode) (serial.Port, error) {
	syscall.ForkLock.RLock()
	defer syscall.ForkLock.RUnlock()
	line, err := serial.Open(dev.path, m)
	if err != nil {
		return nil, err
	}
	if fd, ok := handle(line, dev); ok {
		unix.CloseOnExec(fd)
	}
	return line, nil
}

// neverBlock makes the library's descriptor non-blocking. The library waits
// with select before it reads, so only its writes change: a full line gives an
// error at once.
func neverBlock(line serial.Port, dev device) bool {
	fd, ok := handle(line, dev)
	return ok && unix.SetNonblock(fd, true) == nil
}

// handle is the library's descriptor. It keeps it to itself, hence the
// reflection; a number found there counts only if it is open on this very
// device, so that another version of the library can mislead nobody. A test
// notices when it is called otherwise.
func handle(line serial.Port, dev device) (fd int, ok bool) {
	v := reflect.Indirect(reflect.ValueOf(line))
	if v.Kind() != reflect.Struct {
		return 0, false
	}
	h := v.FieldByName("handle")
	if !h.IsValid() || !h.CanInt() {
		return 0, false
	}
	var st unix.Stat_t
	if unix.Fstat(int(h.Int()), &st) != nil || st.Mode&unix.S_IFMT != unix.S_IFCHR || uint64(st.Rdev) != dev.id.rdev {
		return 0, false
	}
	return int(h.Int()), true
}

// isFull tells an error that only says 'not now'.
func isFull(err error) bool { return errors.Is(err, unix.EAGAIN) }
