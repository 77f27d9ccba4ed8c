package port

import (
	"cmp"
	"errors"
	"fmt"
	"strings"
)

// Absent says that nothing stands at the address now. It may come.
type Absent struct {
	Address string
	Why     string // what was found instead, plain words
	Do      string // one thing to do
}

func (e *Absent) Error() string { return sentence(e.Address, e.Why, e.Do) }

// Process is a program that has a port open.
type Process struct {
	PID  int
	Name string
}

func (p Process) String() string { return fmt.Sprintf("%s (process %d)", p.Name, p.PID) }

// Held says that another program, or another gauge of this bench, has the port.
// By is empty where the system does not tell which.
type Held struct {
	Address string
	By      []Process
	Why     string // where By alone does not say it
	Do      string // where it is not to close a program
}

func (e *Held) Error() string {
	why, do := e.Why, "close the program that uses it; it is picked up by itself"
	if len(e.By) > 0 {
		names := make([]string, len(e.By))
		for i, p := range e.By {
			names[i] = p.String()
		}
		why = "held by " + strings.Join(names, ", ")
		do = "close that program; the port is picked up by itself"
	} else if why == "" {
		why = "held by another program, which this user may not see"
	}
	return sentence(e.Address, why, cmp.Or(e.Do, do))
}

// Denied says that this user may not open the port.
type Denied struct {
	Address string
	User    string
	Group   string // that may; empty where no group would help
	Command string // exactly what to type
}

func (e *Denied) Error() string {
	why := fmt.Sprintf("user %s may not open it", e.User)
	if e.Group != "" {
		why += fmt.Sprintf("; the group %s may", e.Group)
	}
	return sentence(e.Address, why, e.Command)
}

// BadAddress says that the address, or the settings for it, can never work as
// written: the bench file must be edited.
type BadAddress struct {
	Text string
	Why  string
}

func (e *BadAddress) Error() string { return fmt.Sprintf("%q is no port: %s", e.Text, e.Why) }

// Gone says that a port that was open is there no longer.
type Gone struct {
	Address string
	Why     string
}

func (e *Gone) Error() string { return sentence(e.Address, e.Why, "") }

// ErrClosed is what Read gives after this program itself closed the port.
var ErrClosed = errors.New("closed here")

func sentence(address, why, do string) string {
	s := address + ": " + why
	if do != "" {
		s += ": " + do
	}
	return s
}
