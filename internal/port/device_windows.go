package port

import (
	"errors"
	"strings"

	"go.bug.st/serial"
	"golang.org/x/sys/windows"
)

// deviceID is what a device is, whatever it is called.
type deviceID struct{ name string }

// device is what an address leads to at this moment.
type device struct {
	path   string
	id     deviceID
	pseudo bool
}

func resolve(a Address) (device, error) {
	name := strings.ToUpper(strings.TrimPrefix(a.Path, `\\.\`))
	return device{path: name, id: deviceID{name}}, nil
}

func isGone(err error) bool {
	return errors.Is(err, windows.ERROR_FILE_NOT_FOUND) || errors.Is(err, windows.ERROR_DEVICE_NOT_CONNECTED) ||
		errors.Is(err, windows.ERROR_OPERATION_ABORTED) || errors.Is(err, windows.ERROR_BAD_COMMAND)
}

func roomForDescriptors() error { return nil }

func denied(a Address, _ string) error {
	// Windows answers 'access denied' for a port that another program has open.
	return &Held{Address: a.Text}
}

func openLine(dev device, m *serial.Mode) (serial.Port, error) { return serial.Open(dev.path, m) }

// neverBlock has nothing to do: the library's writes can be given up here.
func neverBlock(serial.Port, device) bool { return true }

func isFull(error) bool { return false }
