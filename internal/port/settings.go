// Package port is where bytes come from: serial lines and pseudo-terminals,
// TCP, RFC 2217 servers, tapes, and gauges that act as a keyboard. It opens
// them, says plainly why it cannot, and lists what this computer has.
package port

import (
	"fmt"
	"strconv"
	"strings"
)

// Parity is the parity of a serial line.
type Parity byte

// The parities, by the letter a line setting uses.
const (
	NoParity    Parity = 'N'
	OddParity   Parity = 'O'
	EvenParity  Parity = 'E'
	MarkParity  Parity = 'M'
	SpaceParity Parity = 'S'
)

// Stop is the number of stop bits.
type Stop byte

// The stop bits.
const (
	OneStop Stop = iota
	OneAndHalfStops
	TwoStops
)

// Settings is how a serial line is driven. DTR and RTS that are nil stay as the
// driver or the operating system leaves them.
type Settings struct {
	Baud     int
	DataBits int
	Parity   Parity
	Stop     Stop
	DTR, RTS *bool
}

// DefaultSettings is 9600 8N1, what most gauges send at (common practice, no
// source).
var DefaultSettings = Settings{Baud: 9600, DataBits: 8, Parity: NoParity, Stop: OneStop}

// ParseSettings reads "9600 8N1", with "DTR=off" or "RTS=on" behind it where a
// gauge needs its control lines so. "" is DefaultSettings.
func ParseSettings(text string) (Settings, error) {
	s := DefaultSettings
	bad := func(format string, args ...any) (Settings, error) {
		return Settings{}, fmt.Errorf("%q is no line setting: %s; expected something like 9600 8N1 or 4800 7E2 RTS=off", text, fmt.Sprintf(format, args...))
	}
	words := strings.Fields(text)
	if len(words) == 0 {
		return s, nil
	}
	baud, err := strconv.Atoi(words[0])
	if err != nil || baud < 50 || baud > 4_000_000 {
		return bad("%q is no speed from 50 to 4000000 baud", words[0])
	}
	s.Baud = baud
	for i, w := range words[1:] {
		name, state, isLine := strings.Cut(strings.ToUpper(w), "=")
		switch {
		case isLine:
			on := state == "ON"
			if !on && state != "OFF" {
				return bad("%q is neither on nor off", state)
			}
			switch name {
			case "DTR":
				s.DTR = &on
			case "RTS":
				s.RTS = &on
			default:
				return bad("%q is no control line of ours (DTR, RTS)", name)
			}
		case i == 0:
			if !s.frame(name) {
				return bad("%q is not data bits 5..8, parity N E O M S and stop bits 1 1.5 2", w)
			}
		default:
			return bad("%q is one word too many", w)
		}
	}
	return s, nil
}

// frame reads "8N1".
func (s *Settings) frame(w string) bool {
	if len(w) < 3 || w[0] < '5' || w[0] > '8' || !strings.ContainsRune("NEOMS", rune(w[1])) {
		return false
	}
	s.DataBits, s.Parity = int(w[0]-'0'), Parity(w[1])
	switch w[2:] {
	case "1":
		s.Stop = OneStop
	case "1.5":
		s.Stop = OneAndHalfStops
	case "2":
		s.Stop = TwoStops
	default:
		return false
	}
	return true
}

// String writes what ParseSettings reads.
func (s Settings) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d %d%c%s", s.Baud, s.DataBits, s.Parity, [...]string{"1", "1.5", "2"}[s.Stop])
	for _, l := range []struct {
		name string
		on   *bool
	}{{"DTR", s.DTR}, {"RTS", s.RTS}} {
		if l.on != nil {
			state := "off"
			if *l.on {
				state = "on"
			}
			b.WriteString(" " + l.name + "=" + state)
		}
	}
	return b.String()
}

// orDefault is DefaultSettings for settings that were never set.
func (s Settings) orDefault() Settings {
	d := DefaultSettings
	d.DTR, d.RTS = s.DTR, s.RTS
	if s.Baud == 0 {
		return d
	}
	if s.DataBits == 0 {
		s.DataBits = 8
	}
	if s.Parity == 0 {
		s.Parity = NoParity
	}
	return s
}
