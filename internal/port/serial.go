package port

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"go.bug.st/serial"
)

// serialPort is a serial line or pseudo-terminal in raw mode, without flow
// control and locked against other programs.
type serialPort struct {
	name   string
	line   serial.Port
	ear    *os.File // reads the line; nil: the library does
	noEar  string   // why there is none where there should be one
	ours   *claimed
	pseudo bool // no control lines, no break
	closed atomic.Bool
	once   sync.Once
}

func openSerial(a Address, s Settings) (Port, error) {
	dev, err := resolve(a)
	if err != nil {
		return nil, err
	}
	ours, err := claim(a, dev)
	if err != nil {
		return nil, err
	}
	p, err := openDevice(a, dev, s)
	if err != nil {
		ours.release()
		return nil, err
	}
	p.ours = ours
	return p, nil
}

func openDevice(a Address, dev device, s Settings) (*serialPort, error) {
	// The library waits with select, which knows no file descriptor from 1024 on.
	if err := roomForDescriptors(); err != nil {
		return nil, &Absent{a.Text, err.Error(), "give this program fewer gauges"}
	}
	line, err := openLine(dev, mode(s))
	if err != nil {
		return nil, openError(a, dev, s, err)
	}
	p := &serialPort{name: a.Text, line: line, pseudo: dev.pseudo}
	// A write that blocks in the kernel is not ended by closing the port.
	neverBlock(line, dev)
	p.ear, p.noEar = ear(line, dev)
	if err := p.setControls(s); err != nil {
		p.shut()
		return nil, &BadAddress{a.Text, fmt.Sprintf("its control lines cannot be set (%v): take DTR and RTS out of its line setting", err)}
	}
	// What lies in the buffer was sent before anyone listened: a reading from
	// then would carry the time of now.
	line.ResetInputBuffer()
	return p, nil
}

func mode(s Settings) *serial.Mode {
	// InitialStatusBits stays nil: pseudo-terminals have none, and nil touches none.
	m := &serial.Mode{BaudRate: s.Baud, DataBits: s.DataBits}
	switch s.Parity {
	case OddParity:
		m.Parity = serial.OddParity
	case EvenParity:
		m.Parity = serial.EvenParity
	case MarkParity:
		m.Parity = serial.MarkParity
	case SpaceParity:
		m.Parity = serial.SpaceParity
	}
	switch s.Stop {
	case OneAndHalfStops:
		m.StopBits = serial.OnePointFiveStopBits
	case TwoStops:
		m.StopBits = serial.TwoStopBits
	}
	return m
}

func (p *serialPort) setControls(s Settings) error {
	if p.pseudo {
		return nil
	}
	if s.DTR != nil {
		if err := p.line.SetDTR(*s.DTR); err != nil {
			return err
		}
	}
	if s.RTS != nil {
		return p.line.SetRTS(*s.RTS)
	}
	return nil
}

// openError turns the library's error into one that says what to do.
func openError(a Address, dev device, s Settings, err error) error {
	var code serial.PortErrorCode = -1
	var pe *serial.PortError
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	switch {
	case code == serial.PortBusy:
		return &Held{Address: a.Text, By: holders(dev), Why: "locked by another program"}
	case code == serial.PermissionDenied, errors.Is(err, os.ErrPermission):
		return denied(a, dev.path)
	case code == serial.PortNotFound, errors.Is(err, os.ErrNotExist), isGone(err):
		return absent(a)
	case code == serial.InvalidSerialPort, code == serial.InvalidSpeed, code == serial.InvalidDataBits,
		code == serial.InvalidParity, code == serial.InvalidStopBits:
		return &BadAddress{a.Text, fmt.Sprintf("it does not take the line setting %s (%v)", s, err)}
	}
	return &Absent{a.Text, fmt.Sprintf("cannot be opened (%v)", err), "unplug it and plug it in again"}
}

func absent(a Address) error {
	return &Absent{a.Text, "not there", "plug it in or switch it on; it is found by itself ('thouwright ports' lists what is there)"}
}

// zeroReads is how many empty reads in a row mean that the device is gone: a
// blocking read gives at least one byte, an unplugged port gives none for ever.
const zeroReads = 4

func (p *serialPort) Read(b []byte) (n int, err error) {
	defer func() {
		if r := recover(); r != nil { // the library panics on a file descriptor it cannot wait for
			n, err = 0, &Gone{p.name, fmt.Sprint(r)}
		}
	}()
	for range zeroReads {
		n, err := p.listen(b)
		switch {
		case p.closed.Load(): // the library says the same for a hang-up and for our own close
			return 0, ErrClosed
		case err != nil && isFull(err): // woken for nothing
		case err != nil:
			return 0, &Gone{p.name, lostWhy(err)}
		case n < 0 || n > len(b):
			return 0, &Gone{p.name, fmt.Sprintf("gave a count of %d bytes", n)}
		case n > 0 || len(b) == 0:
			return n, nil
		}
	}
	return 0, &Gone{p.name, "reads nothing for ever"}
}

// listen reads by the poller, or else by the library.
func (p *serialPort) listen(b []byte) (int, error) {
	if p.ear != nil {
		return p.ear.Read(b)
	}
	return p.line.Read(b)
}

// shut closes the line, and first what waits on it.
func (p *serialPort) shut() error {
	if p.ear != nil {
		p.ear.Close()
	}
	return p.line.Close()
}

// Note says why the line costs more than it should, if it does.
func (p *serialPort) Note() string {
	if p.noEar == "" {
		return ""
	}
	return "read by a thread of its own: " + p.noEar
}

func lostWhy(err error) string {
	var pe *serial.PortError
	if errors.Is(err, io.EOF) || errors.As(err, &pe) && pe.Code() == serial.PortClosed || isGone(err) {
		return "unplugged, or the other side hung up"
	}
	return fmt.Sprintf("cannot be read (%v)", err)
}

// Write sends to the gauge. A line that takes nothing (the other side of a
// terminal does not read) is given up after writeTimeout.
func (p *serialPort) Write(b []byte) (int, error) {
	done := 0
	for until := time.Now().Add(writeTimeout); ; {
		if p.closed.Load() {
			return done, ErrClosed
		}
		n, err := p.line.Write(b[done:])
		done += max(n, 0)
		switch {
		case done >= len(b):
			return len(b), nil
		case err != nil && !isFull(err):
			return done, &Gone{p.name, fmt.Sprintf("cannot be written (%v)", err)}
		case time.Now().After(until):
			return done, &Gone{p.name, "takes no more bytes"}
		}
		time.Sleep(writePause)
	}
}

// writePause is how soon a full line is tried again.
const writePause = 2 * time.Millisecond

func (p *serialPort) Close() (err error) {
	p.once.Do(func() {
		p.closed.Store(true)
		p.ours.closing.Store(true)
		err = p.shut()
		p.ours.release()
	})
	return err
}

// Lines reads the control lines. A pseudo-terminal has none.
func (p *serialPort) Lines() (Lines, error) {
	m, err := p.line.GetModemStatusBits()
	if err != nil {
		return Lines{}, &Gone{p.name, fmt.Sprintf("its control lines cannot be read (%v)", err)}
	}
	return Lines{CTS: m.CTS, DSR: m.DSR, DCD: m.DCD, RI: m.RI}, nil
}

func (p *serialPort) Break(d time.Duration) error { return p.line.Break(d) }

func (p *serialPort) Purge() error {
	return errors.Join(p.line.ResetInputBuffer(), p.line.ResetOutputBuffer())
}

func (p *serialPort) Reset(s Settings) error {
	s = s.orDefault()
	if err := p.line.SetMode(mode(s)); err != nil {
		return &BadAddress{p.name, fmt.Sprintf("it does not take the line setting %s (%v)", s, err)}
	}
	if err := p.setControls(s); err != nil {
		return err
	}
	return p.line.ResetInputBuffer()
}
