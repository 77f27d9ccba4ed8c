//go:build unix

package journal

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

const noFollow = unix.O_NOFOLLOW | unix.O_NONBLOCK

// lockFile takes the lock or says that it is held.
func lockFile(f *os.File) (held bool, err error) {
	for {
		err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if !errors.Is(err, unix.EINTR) {
			break
		}
	}
	if errors.Is(err, unix.EWOULDBLOCK) {
		return true, nil
	}
	return false, err
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = d.Sync()
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) {
		err = nil // some network file systems cannot sync a folder, and need not
	}
	return errors.Join(err, d.Close())
}
