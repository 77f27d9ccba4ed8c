package uart

import (
	"os"

	"golang.org/x/sys/unix"

	"thouwright/internal/port"
)

// OfPty is what the program at the slave side of a pseudo-terminal has set.
// Linux forces 8 data bits and takes PARENB away there, but keeps INPCK and
// PARODD, which a program sets together with it.
func OfPty(master *os.File) (port.Settings, error) {
	var s port.Settings
	raw, err := master.SyscallConn()
	if err != nil {
		return s, err
	}
	var got *unix.Termios
	var ioErr error
	if err := raw.Control(func(fd uintptr) { got, ioErr = unix.IoctlGetTermios(int(fd), unix.TCGETS2) }); err != nil {
		return s, err
	}
	if ioErr != nil {
		return s, ioErr
	}
	s = port.Settings{Baud: int(got.Ospeed), DataBits: 8, Parity: port.NoParity}
	if got.Iflag&unix.INPCK != 0 {
		s.Parity = port.EvenParity
		if got.Cflag&unix.PARODD != 0 {
			s.Parity = port.OddParity
		}
	}
	if got.Cflag&unix.CSTOPB != 0 {
		s.Stop = port.TwoStops
	}
	return s, nil
}

// OnPty is a gauge at the master side of a pseudo-terminal.
func OnPty(master *os.File, g Gauge) Gauge {
	g.Heard = func() (port.Settings, error) { return OfPty(master) }
	return g
}
