package journal

import (
	"fmt"

	"golang.org/x/sys/unix"
)

func mountSmall(dir string, size int64) error {
	return unix.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", size))
}

func remountReadOnly(dir string) error {
	return unix.Mount("tmpfs", dir, "tmpfs", unix.MS_REMOUNT|unix.MS_RDONLY, "")
}

func unmount(dir string) error { return unix.Unmount(dir, 0) }
