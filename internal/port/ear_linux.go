package port

import (
	"fmt"
	"os"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// earFrom is where the second descriptors begin: below lie those that the
// library's select can wait for, and they are few.
const earFrom = 1024

// ear is a second descriptor of a line, for reading, on which Go's own poller
// waits; nil, and why, where there can be none. The library's read holds an operating
// system thread in select, and whoever is to handle the bytes waits until
// another thread was woken. Measured by turns, a reading's event came 120 to 130
// µs after its last byte with the library's read and 66 to 77 µs with this one
// (bare reads: 30 to 60 µs), and one gauge cost two thirds of the processor.
func ear(line serial.Port, dev device) (f *os.File, why string) {
	fd, ok := handle(line, dev)
	if !ok {
		return nil, "the serial library's descriptor is not found"
	}
	second, err := unix.FcntlInt(uintptr(fd), unix.F_DUPFD_CLOEXEC, earFrom)
	if err != nil {
		return nil, fmt.Sprintf("no descriptor from %d on (%v; 'ulimit -n' shows the limit)", earFrom, err)
	}
	if err := unix.SetNonblock(second, true); err != nil {
		unix.Close(second)
		return nil, fmt.Sprintf("it cannot be read without waiting (%v)", err)
	}
	f = os.NewFile(uintptr(second), "line")
	if err := f.SetReadDeadline(time.Time{}); err != nil {
		f.Close()
		return nil, fmt.Sprintf("the poller does not wait for it (%v)", err)
	}
	return f, ""
}
