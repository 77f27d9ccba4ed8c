//go:build !linux

package port

import (
	"os"

	"go.bug.st/serial"
)

// ear is for Linux; elsewhere the library's own read does.
func ear(serial.Port, device) (*os.File, string) { return nil, "" }
