package port

// Telnet as RFC 854 and RFC 855 have it: data bytes with commands between
// them. This is the pure half, which takes bytes apart and knows no connection.

// Telnet commands (RFC 854) and options.
const (
	iac  = 255
	dont = 254
	do   = 253
	wont = 252
	will = 251
	sb   = 250
	se   = 240

	optBinary  = 0  // RFC 856
	optSGA     = 3  // RFC 858: suppress go ahead
	optComPort = 44 // RFC 2217
)

// subMost bounds a subnegotiation. Those of RFC 2217 are a few bytes long but
// for the signature, a text; what is longer is cut.
const subMost = 256

type telnetState uint8

const (
	inData telnetState = iota
	afterIAC
	afterVerb // WILL WONT DO DONT
	inSub     // the option, then its bytes
	inSubIAC  // IAC within a subnegotiation
)

// telnet takes a stream apart.
type telnet struct {
	state  telnetState
	verb   byte
	sub    []byte
	binary bool   // the other side sends plain bytes, so a NUL behind a CR is one
	cr     bool   // the last data byte was a CR
	out    []byte // the data bytes so far; the owner empties it

	negotiate func(verb, option byte)
	suboption func(option byte, payload []byte) // payload holds until it returns
}

// feed appends the data bytes of in to out and hands commands over as they
// come, so a command finds in out just what was sent before it.
func (t *telnet) feed(in []byte) {
	for _, c := range in {
		t.step(c)
	}
}

func (t *telnet) step(c byte) {
	switch t.state {
	case inData:
		if c == iac {
			t.state = afterIAC
		} else {
			t.data(c)
		}
	case afterIAC:
		t.state = inData
		switch c {
		case iac:
			t.data(c)
		case will, wont, do, dont:
			t.verb, t.state = c, afterVerb
		case sb:
			t.sub, t.state = t.sub[:0], inSub
		}
		// Everything else (NOP, GA, a stray SE) asks for nothing.
	case afterVerb:
		t.state = inData
		t.negotiate(t.verb, c)
	case inSub:
		if c == iac {
			t.state = inSubIAC
		} else {
			t.keep(c)
		}
	case inSubIAC:
		switch c {
		case iac:
			t.state = inSub
			t.keep(c)
		case se:
			t.endSub()
		default:
			// Neither an escaped byte nor the end, so the end was lost: what came so
			// far means nothing, and the command stands for itself.
			t.state = afterIAC
			t.step(c)
		}
	}
}

func (t *telnet) data(c byte) {
	nul := t.cr && c == 0 && !t.binary // CR NUL is a bare CR (RFC 854, NVT)
	t.cr = c == '\r'
	if !nul {
		t.out = append(t.out, c)
	}
}

func (t *telnet) keep(c byte) {
	if len(t.sub) < subMost {
		t.sub = append(t.sub, c)
	}
}

func (t *telnet) endSub() {
	t.state = inData
	if len(t.sub) > 0 {
		t.suboption(t.sub[0], t.sub[1:])
	}
}

// escape appends data as it goes out: IAC doubled, and a bare CR marked where
// the other side does not take plain bytes.
func escape(out, data []byte, binary bool) []byte {
	for i, c := range data {
		out = append(out, c)
		switch {
		case c == iac:
			out = append(out, iac)
		case c == '\r' && !binary && (i+1 == len(data) || data[i+1] != '\n'):
			out = append(out, 0)
		}
	}
	return out
}

// subnegotiation appends IAC SB option payload IAC SE.
func subnegotiation(out []byte, option byte, payload ...byte) []byte {
	out = append(out, iac, sb, option)
	out = escape(out, payload, true)
	return append(out, iac, se)
}
