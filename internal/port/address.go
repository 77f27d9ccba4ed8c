package port

import (
	"fmt"
	"net"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
)

// Kind is what stands at an address.
type Kind uint8

// The kinds of ports.
const (
	Serial  Kind = iota // a serial line or a pseudo-terminal
	TCP                 // a plain TCP stream
	RFC2217             // a serial line behind a Telnet server with RFC 2217
	Tape                // a tape, replayed with its own timing
	Keys                // a gauge or pedal that acts as a keyboard
)

// Address is where bytes come from.
type Address struct {
	Kind Kind
	Text string // as it was written
	Path string // of a device or file
	Host string // HOST:PORT of a network address
}

func (a Address) String() string { return a.Text }

// Local tells whether a device on this computer stands at the address, one
// that comes and goes with a plug.
func (a Address) Local() bool { return a.Kind == Serial || a.Kind == Keys }

const addressForms = "/dev/…, COM3, tcp://HOST:PORT, rfc2217://HOST:PORT, tape:FILE or keys:/dev/input/…"

var comPort = regexp.MustCompile(`(?i)^(\\\\\.\\)?COM[1-9][0-9]{0,2}$`)

// ParseAddress reads a bench file's port.
func ParseAddress(text string) (Address, error) {
	a := Address{Text: text}
	bad := func(why string) (Address, error) {
		return Address{}, &BadAddress{Text: text, Why: why + "; expected " + addressForms}
	}
	if text == "" || text != strings.TrimSpace(text) {
		return bad("blanks around it, or nothing at all")
	}
	if strings.ContainsAny(text, "\x00\n\r") {
		return bad("a control character in it")
	}
	if scheme, rest, ok := strings.Cut(text, "://"); ok {
		switch strings.ToLower(scheme) {
		case "tcp":
			a.Kind = TCP
		case "rfc2217":
			a.Kind = RFC2217
		default:
			return bad(fmt.Sprintf("nothing is known of %s://", scheme))
		}
		rest = strings.TrimSuffix(rest, "/")
		host, number, err := net.SplitHostPort(rest)
		if n, e := strconv.Atoi(number); err != nil || e != nil || host == "" || n < 1 || n > 65535 {
			return bad(fmt.Sprintf("%q is not HOST:PORT", rest))
		}
		a.Host = net.JoinHostPort(host, number)
		return a, nil
	}
	if scheme, rest, ok := strings.Cut(text, ":"); ok && (scheme == "tape" || scheme == "keys") {
		if rest == "" {
			return bad("no file behind " + scheme + ":")
		}
		a.Kind, a.Path = Tape, rest
		if scheme == "keys" {
			a.Kind = Keys
		}
		return a, nil
	}
	if comPort.MatchString(text) {
		a.Path = text
		return a, nil
	}
	if strings.ContainsRune(text, '/') {
		a.Path = filepath.Clean(text)
		return a, nil
	}
	return bad("it names no device")
}
