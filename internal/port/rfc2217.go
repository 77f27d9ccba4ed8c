package port

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"sync"
	"time"
)

// RFC 2217, Telnet Com Port Control Option: what the client sends; the server
// answers with the same number plus 100.
const (
	comSignature     = 0
	comBaud          = 1
	comDataSize      = 2
	comParity        = 3
	comStopSize      = 4
	comControl       = 5
	comLineState     = 6
	comModemState    = 7
	comSuspend       = 8
	comResume        = 9
	comLineMask      = 10
	comModemMask     = 11
	comPurge         = 12
	comAnswer        = 100
	controlNoFlow    = 1 // outbound, or both ways
	controlBreakOn   = 5
	controlBreakOff  = 6
	controlDTROn     = 8
	controlDTROff    = 9
	controlRTSOn     = 11
	controlRTSOff    = 12
	controlNoFlowIn  = 14
	purgeBoth        = 3
	lineOverrun      = 1 << 1
	lineParity       = 1 << 2
	lineFraming      = 1 << 3
	lineBreak        = 1 << 4
	modemCTS         = 1 << 4
	modemDSR         = 1 << 5
	modemRI          = 1 << 6
	modemDCD         = 1 << 7
	maskOfLineErrors = lineOverrun | lineParity | lineFraming | lineBreak
	maskOfModemState = modemCTS | modemDSR | modemRI | modemDCD
)

// answerTimeout is how long the server may take for an answer. It stands on
// the same network; a serial line at 300 baud does not slow its answers.
const answerTimeout = 3 * time.Second

// inboxMost is how many data bytes wait for Read before the connection is left
// to fill up.
const inboxMost = 64 << 10

// LineErrors counts what the server said went wrong on its serial line.
type LineErrors struct{ Overrun, Parity, Framing, Break uint64 }

// rfc2217Port is a serial line behind a Telnet server. One goroutine (pump)
// reads the connection, so that answers and notifications arrive whether or
// not anyone reads data.
type rfc2217Port struct {
	tcpPort
	telnet telnet
	done   chan struct{} // pump has ended

	mu        sync.Mutex
	inbox     []byte
	dropping  bool // data from before the settings stood
	fault     error
	us, him   [optComPort + 1]option // ours and the server's
	refused   bool                   // the server will not talk about its serial line
	replies   []byte                 // of pump, until it lets go of the lock
	lines     Lines
	errs      LineErrors
	suspended bool
	answers   map[byte][]byte // the last to each command
	changed   chan struct{}   // closed and replaced when anything above changes
	changes   chan Lines
	told      bool      // of its control lines
	ready     time.Time // since when it has been open

	writing sync.Mutex
	out     []byte
}

// option is the state of a Telnet option on one side.
type option uint8

const (
	optionOff   option = iota
	optionAsked        // begin asked, so the next word is an answer and gets none
	optionOn
)

func openRFC2217(ctx context.Context, a Address, s Settings) (Port, error) {
	conn, err := dial(ctx, a)
	if err != nil {
		return nil, err
	}
	p := &rfc2217Port{
		tcpPort: tcpPort{name: a.Text, conn: conn},
		done:    make(chan struct{}), dropping: true,
		answers: map[byte][]byte{}, changed: make(chan struct{}), changes: make(chan Lines, 64),
	}
	p.telnet.negotiate, p.telnet.suboption = p.negotiate, p.suboption
	for _, o := range []int{optBinary, optSGA} {
		p.us[o], p.him[o] = optionAsked, optionAsked
	}
	p.us[optComPort] = optionAsked
	go p.pump()
	stop := context.AfterFunc(ctx, func() { p.Close() })
	err = p.begin(s)
	if !stop() || err != nil {
		p.Close()
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, err
	}
	return p, nil
}

// begin agrees on the options, sets the line and drops what came before.
func (p *rfc2217Port) begin(s Settings) error {
	err := p.send([]byte{iac, will, optComPort, iac, will, optBinary, iac, do, optBinary, iac, will, optSGA, iac, do, optSGA})
	if err != nil {
		return p.asAbsent(err)
	}
	err = p.await(func() bool { return p.us[optComPort] == optionOn || p.refused })
	switch {
	case errors.Is(err, errNoAnswer):
		return &BadAddress{p.name, "the server does not answer as RFC 2217 wants it: write tcp:// where it passes plain bytes"}
	case err != nil:
		return p.asAbsent(err)
	case p.refused:
		return &BadAddress{p.name, "the server refuses to have its serial line set (RFC 2217): allow it there, or write tcp://"}
	}
	if err := p.Reset(s); err != nil {
		return p.asAbsent(err)
	}
	p.mu.Lock()
	p.ready = time.Now()
	p.mu.Unlock()
	return nil
}

// asAbsent: a port that broke while it was being opened was never there.
func (p *rfc2217Port) asAbsent(err error) error {
	var gone *Gone
	if errors.As(err, &gone) {
		return &Absent{gone.Address, gone.Why, "check that nobody else is connected to that server's port"}
	}
	return err
}

// Reset sets the line, checks what the server says it set, and drops the data
// from before.
func (p *rfc2217Port) Reset(s Settings) error {
	s = s.orDefault()
	p.mu.Lock()
	p.dropping, p.inbox = true, p.inbox[:0]
	clear(p.answers)
	p.mu.Unlock()

	stop, ok := map[Stop]byte{OneStop: 1, TwoStops: 2, OneAndHalfStops: 3}[s.Stop]
	parity, ok2 := map[Parity]byte{NoParity: 1, OddParity: 2, EvenParity: 3, MarkParity: 4, SpaceParity: 5}[s.Parity]
	if !ok || !ok2 {
		return &BadAddress{p.name, fmt.Sprintf("%s is no line setting", s)}
	}
	want := map[byte][]byte{
		comBaud:     binary.BigEndian.AppendUint32(nil, uint32(s.Baud)),
		comDataSize: {byte(s.DataBits)},
		comParity:   {parity},
		comStopSize: {stop},
	}
	var out []byte
	for _, c := range []byte{comBaud, comDataSize, comParity, comStopSize} {
		out = subnegotiation(out, optComPort, append([]byte{c}, want[c]...)...)
	}
	control := []byte{controlNoFlow, controlNoFlowIn}
	if s.DTR != nil {
		control = append(control, map[bool]byte{true: controlDTROn, false: controlDTROff}[*s.DTR])
	}
	if s.RTS != nil {
		control = append(control, map[bool]byte{true: controlRTSOn, false: controlRTSOff}[*s.RTS])
	}
	for _, c := range control {
		out = subnegotiation(out, optComPort, comControl, c)
	}
	out = subnegotiation(out, optComPort, comLineMask, maskOfLineErrors)
	out = subnegotiation(out, optComPort, comModemMask, maskOfModemState)
	// The order of commands and data is that of the wire, so what lies before the
	// answer to this purge was sent before the settings stood.
	out = subnegotiation(out, optComPort, comPurge, purgeBoth)
	if err := p.send(out); err != nil {
		return err
	}
	for _, c := range []byte{comBaud, comDataSize, comParity, comStopSize} {
		if err := p.confirmed(c, want[c], s); err != nil {
			return err
		}
	}
	err := p.await(func() bool { return p.answers[comPurge] != nil })
	if errors.Is(err, errNoAnswer) {
		err = nil // a server that cannot purge says nothing
	}
	p.mu.Lock()
	p.dropping = false
	p.mu.Unlock()
	return err
}

// confirmed waits for the server's answer to a setting. One that it cannot do
// is answered with what it does instead.
func (p *rfc2217Port) confirmed(c byte, want []byte, s Settings) error {
	var got []byte
	err := p.await(func() bool { got = p.answers[c]; return got != nil })
	name := map[byte]string{comBaud: "speed", comDataSize: "data bits", comParity: "parity", comStopSize: "stop bits"}[c]
	if errors.Is(err, errNoAnswer) {
		return &BadAddress{p.name, fmt.Sprintf("the server does not answer when its %s is set: write tcp:// and set the line on the server", name)}
	}
	if err != nil {
		return err
	}
	if string(got) != string(want) {
		number := func(b []byte) (n uint64) {
			for _, c := range b {
				n = n<<8 | uint64(c)
			}
			return n
		}
		return &BadAddress{p.name, fmt.Sprintf("the server does not take the line setting %s (%s: it says %d for %d)", s, name, number(got), number(want))}
	}
	return nil
}

var errNoAnswer = errors.New("the server does not answer")

// await waits until ok, which runs under the lock.
func (p *rfc2217Port) await(ok func() bool) error {
	limit := time.NewTimer(answerTimeout)
	defer limit.Stop()
	for {
		p.mu.Lock()
		done, fault, changed := ok(), p.fault, p.changed
		p.mu.Unlock()
		switch {
		case done:
			return nil
		case fault != nil:
			return fault
		}
		select {
		case <-changed:
		case <-limit.C:
			return errNoAnswer
		}
	}
}

// tell wakes whoever waits for a change. The lock must be held.
func (p *rfc2217Port) tell() {
	close(p.changed)
	p.changed = make(chan struct{})
}

func (p *rfc2217Port) pump() {
	defer close(p.done)
	in := make([]byte, 4096)
	for {
		n, err := p.conn.Read(in)
		p.mu.Lock()
		p.telnet.out, p.replies = p.telnet.out[:0], p.replies[:0]
		p.telnet.feed(in[:max(n, 0)])
		if !p.dropping {
			p.inbox = append(p.inbox, p.telnet.out...)
		}
		if err != nil {
			p.fault = p.lost(err)
		}
		p.tell()
		for err == nil && len(p.inbox) >= inboxMost && !p.closed.Load() {
			changed := p.changed
			p.mu.Unlock()
			<-changed
			p.mu.Lock()
		}
		p.mu.Unlock()
		if err != nil {
			return
		}
		if len(p.replies) > 0 { // only pump touches it
			p.send(p.replies) // what comes of an error the next read says
		}
	}
}

// negotiate answers WILL, WONT, DO and DONT. Only a change is answered, and no
// answer is, so that no two sides answer each other for ever (RFC 854). It runs
// in pump, under the lock.
func (p *rfc2217Port) negotiate(verb, o byte) {
	known := o == optComPort || o == optBinary || o == optSGA
	switch verb {
	case do:
		p.turn(known, &p.us, o, optionOn, will, wont)
	case dont:
		p.turn(known, &p.us, o, optionOff, wont, wont)
		p.refused = p.refused || o == optComPort
	case will:
		p.turn(known, &p.him, o, optionOn, do, dont)
	case wont:
		p.turn(known, &p.him, o, optionOff, dont, dont)
	}
	p.telnet.binary = p.him[optBinary] == optionOn
}

// turn brings one option into its new state, with the reply that is due.
func (p *rfc2217Port) turn(known bool, side *[optComPort + 1]option, o byte, to option, agree, refuse byte) {
	if !known {
		if to == optionOn {
			p.replies = append(p.replies, iac, refuse, o)
		}
		return
	}
	if was := side[o]; was != optionAsked && was != to {
		p.replies = append(p.replies, iac, agree, o)
	}
	side[o] = to
}

// suboption takes the server's answers and notifications. It runs in pump,
// under the lock.
func (p *rfc2217Port) suboption(o byte, payload []byte) {
	if o != optComPort || len(payload) == 0 {
		return
	}
	command, value := payload[0], payload[1:]
	switch command {
	case comAnswer + comLineState:
		if len(value) > 0 {
			p.errs.count(value[0])
		}
	case comAnswer + comModemState:
		if len(value) > 0 {
			p.modem(value[0])
		}
	case comAnswer + comSuspend:
		p.suspended = true
	case comAnswer + comResume:
		p.suspended = false
	case comSignature:
		if len(value) == 0 { // it asks who we are
			p.replies = subnegotiation(p.replies, optComPort, append([]byte{comSignature}, "thouwright"...)...)
		}
	default:
		if command >= comAnswer {
			p.answers[command-comAnswer] = append([]byte{}, value...)
		}
		if command == comAnswer+comPurge {
			// What came before is from before the purge; what follows is not.
			p.inbox, p.telnet.out, p.dropping = p.inbox[:0], p.telnet.out[:0], false
		}
	}
}

func (p *rfc2217Port) send(b []byte) error {
	p.writing.Lock()
	defer p.writing.Unlock()
	_, err := p.tcpPort.Write(b)
	return err
}

func (p *rfc2217Port) Read(b []byte) (int, error) {
	for {
		p.mu.Lock()
		n := copy(b, p.inbox)
		p.inbox = p.inbox[:copy(p.inbox, p.inbox[n:])]
		fault, changed := p.fault, p.changed
		if n > 0 && len(p.inbox) < inboxMost && len(p.inbox)+n >= inboxMost {
			p.tell() // there is room for pump
		}
		p.mu.Unlock()
		switch {
		case n > 0 || len(b) == 0:
			return n, nil
		case fault != nil:
			return 0, fault
		}
		<-changed
	}
}

// Write sends to the serial line. While the server asks for a pause it waits,
// but not for ever.
func (p *rfc2217Port) Write(b []byte) (int, error) {
	err := p.await(func() bool { return !p.suspended })
	if errors.Is(err, errNoAnswer) {
		return 0, &Gone{p.name, "the server takes no more bytes"}
	}
	if err != nil {
		return 0, err
	}
	p.mu.Lock()
	plain := p.us[optBinary] == optionOn
	p.mu.Unlock()
	p.writing.Lock()
	defer p.writing.Unlock()
	p.out = escape(p.out[:0], b, plain)
	if _, err := p.tcpPort.Write(p.out); err != nil {
		return 0, err
	}
	return len(b), nil
}

// Close ends the connection and waits for pump.
func (p *rfc2217Port) Close() error {
	err := p.tcpPort.Close()
	p.mu.Lock()
	p.tell()
	p.mu.Unlock()
	<-p.done
	return err
}

// Lines is the last state of the control lines that the server told.
func (p *rfc2217Port) Lines() (Lines, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.lines, p.fault
}

// LineErrors counts what the server said went wrong on its serial line.
func (p *rfc2217Port) LineErrors() LineErrors {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.errs
}

// Break holds the line down for d.
func (p *rfc2217Port) Break(d time.Duration) error {
	if err := p.send(subnegotiation(nil, optComPort, comControl, controlBreakOn)); err != nil {
		return err
	}
	time.Sleep(d)
	return p.send(subnegotiation(nil, optComPort, comControl, controlBreakOff))
}

// Purge drops what the server holds in its buffers, and what came before that.
func (p *rfc2217Port) Purge() error {
	p.mu.Lock()
	delete(p.answers, comPurge)
	p.mu.Unlock()
	if err := p.send(subnegotiation(nil, optComPort, comPurge, purgeBoth)); err != nil {
		return err
	}
	err := p.await(func() bool { return p.answers[comPurge] != nil })
	if errors.Is(err, errNoAnswer) {
		return nil
	}
	return err
}
