//go:build !windows

package demo

import (
	"io"
	"os"

	"github.com/creack/pty"
)

// wireNote says what a gauge's bytes travel over, where it is not what the
// README promises.
const wireNote = ""

// wire is a serial line between a simulated gauge and the daemon: a
// pseudo-terminal. The daemon opens address like any port.
type wire struct {
	address string
	master  *os.File
}

func newWire() (*wire, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, err
	}
	w := &wire{address: slave.Name(), master: master}
	// What a terminal echoes before the daemon made it a plain line is thrown away.
	go io.Copy(io.Discard, master)
	return w, slave.Close()
}

func (w *wire) Write(b []byte) (int, error) { return w.master.Write(b) }

func (w *wire) Close() error { return w.master.Close() }
