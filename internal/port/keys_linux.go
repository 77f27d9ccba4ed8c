package port

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// eviocgrab is EVIOCGRAB of linux/input.h, _IOW('E', 0x90, int): events go to
// this reader alone, so no digit of a gauge lands in another program.
const eviocgrab = 0x40044590

func openKeys(a Address) (Port, error) {
	dev, err := resolve(a)
	if err != nil {
		return nil, err
	}
	f, err := os.OpenFile(dev.path, os.O_RDONLY|unix.O_NONBLOCK, 0)
	switch {
	case errors.Is(err, os.ErrPermission):
		return nil, denied(a, dev.path)
	case errors.Is(err, os.ErrNotExist), err != nil && isGone(err):
		return nil, absent(a)
	case err != nil:
		return nil, &Absent{a.Text, fmt.Sprintf("cannot be opened (%v)", err), "unplug it and plug it in again"}
	}
	if err := grab(f); err != nil {
		f.Close()
		switch {
		case errors.Is(err, unix.EBUSY):
			return nil, &Held{Address: a.Text, By: holders(dev), Why: "read exclusively by another program"}
		case isGone(err):
			return nil, absent(a)
		}
		return nil, &BadAddress{a.Text, fmt.Sprintf("it is no input device (%v)", err)}
	}
	return NewKeys(a.Text, f), nil
}

// grab goes through SyscallConn, since File.Fd would make Close wait for a Read
// that never ends.
func grab(f *os.File) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var failed error
	if err := raw.Control(func(fd uintptr) { failed = unix.IoctlSetInt(int(fd), eviocgrab, 1) }); err != nil {
		return err
	}
	return failed
}
