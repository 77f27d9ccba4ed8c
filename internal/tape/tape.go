// Package tape reads and writes tapes: the raw bytes of a gauge with their
// times, as text. '#' lines are comments; the comment
// "# started 2026-11-25T08:00:00Z" gives the wall time of second 0; every other
// line is one chunk: seconds since the start, a tab, the bytes in hex. The tape
// of a person's commands has the same shape with JSON instead of hex.
package tape

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"
)

// MaxLine is the longest line that is read. A chunk is what one read of a port
// gave, so a longer line is no tape.
const MaxLine = 1 << 20

// SyntaxError is a mistake in a tape. It names the file, the line, what was
// found and what is expected.
type SyntaxError struct {
	File string
	Line int
	What string
}

func (e *SyntaxError) Error() string { return fmt.Sprintf("%s:%d: %s", e.File, e.Line, e.What) }

// Reader reads a tape line by line without holding more than one.
type Reader struct {
	file    string
	in      *bufio.Reader
	line    int
	started time.Time
	last    int64
	long    []byte // a line that did not fit the buffer
	bytes   []byte // the chunk last read
}

// NewReader reads from r; file is the name that errors carry.
func NewReader(file string, r io.Reader) *Reader {
	return &Reader{file: file, in: bufio.NewReaderSize(r, 64<<10)}
}

// Started is the wall time of second 0, as far as the tape has been read; the
// zero time where it has not said. Writers put it at the top.
func (r *Reader) Started() time.Time { return r.started }

// Line is the number of the line last read, from 1.
func (r *Reader) Line() int { return r.line }

// Next gives the next chunk: its time in microseconds since the start and its
// bytes, which hold until the next call. The end is io.EOF.
func (r *Reader) Next() (at int64, chunk []byte, err error) {
	at, text, err := r.NextText()
	if err != nil {
		return 0, nil, err
	}
	if n := hex.DecodedLen(len(text)); cap(r.bytes) < n {
		r.bytes = make([]byte, n)
	}
	n, err := hex.Decode(r.bytes[:cap(r.bytes)], text)
	if err != nil {
		return 0, nil, r.wrong("the bytes %s are not hex (%v); expected pairs of 0-9 a-f", quoted(text), hexFault(err))
	}
	return at, r.bytes[:n], nil
}

func hexFault(err error) string {
	if errors.Is(err, hex.ErrLength) {
		return "an odd number of digits"
	}
	var bad hex.InvalidByteError
	if errors.As(err, &bad) {
		return fmt.Sprintf("%q is no hex digit", byte(bad))
	}
	return err.Error()
}

// NextText gives the next line's time in microseconds and the text behind its
// tab, which holds until the next call: JSON on the tape of the commands.
func (r *Reader) NextText() (at int64, text []byte, err error) {
	for {
		b, err := r.readLine()
		if err != nil {
			return 0, nil, err
		}
		if len(b) == 0 {
			continue
		}
		if b[0] == '#' {
			if err := r.comment(b); err != nil {
				return 0, nil, err
			}
			continue
		}
		at, rest, ok := seconds(b)
		if !ok {
			return 0, nil, r.wrong("found %s; expected seconds, a tab and the bytes in hex", quoted(b))
		}
		if at < r.last {
			return 0, nil, r.wrong("second %s comes after second %s; times must not go back",
				string(appendSeconds(nil, at)), string(appendSeconds(nil, r.last)))
		}
		r.last = at
		return at, rest, nil
	}
}

// readLine gives a line without its end, LF or CRLF. A last line without an
// end counts, as a copy or a crash may leave one.
func (r *Reader) readLine() ([]byte, error) {
	r.long = r.long[:0]
	for {
		b, err := r.in.ReadSlice('\n')
		if len(r.long)+len(b) > MaxLine {
			r.line++
			return nil, r.wrong("a line of more than %d bytes; this is not a tape", MaxLine)
		}
		if err == bufio.ErrBufferFull {
			r.long = append(r.long, b...)
			continue
		}
		if len(r.long) > 0 {
			r.long = append(r.long, b...)
			b = r.long
		}
		if err != nil && (err != io.EOF || len(b) == 0) {
			return nil, err
		}
		r.line++
		if n := len(b); n > 0 && b[n-1] == '\n' {
			b = b[:n-1]
		}
		if n := len(b); n > 0 && b[n-1] == '\r' {
			b = b[:n-1]
		}
		return b, nil
	}
}

func (r *Reader) comment(b []byte) error {
	const started = "# started "
	if len(b) < len(started) || string(b[:len(started)]) != started {
		return nil
	}
	t, err := time.Parse(time.RFC3339, string(b[len(started):]))
	if err != nil {
		return r.wrong("%s is no time; expected # started 2026-11-25T08:00:00Z", quoted(b[len(started):]))
	}
	if r.last != 0 {
		return r.wrong("'# started' after the first chunk; it belongs at the top")
	}
	r.started = t.UTC()
	return nil
}

func (r *Reader) wrong(format string, args ...any) error {
	return &SyntaxError{r.file, r.line, fmt.Sprintf(format, args...)}
}

// mostMicros bounds a time on a tape, about 31 years, so that sums with it
// cannot overflow.
const mostMicros = 1_000_000_000_000_000

// seconds reads "12.345678" up to the tab, exactly, to the microsecond.
// Further digits are cut.
func seconds(b []byte) (micros int64, rest []byte, ok bool) {
	i := 0
	for ; i < len(b) && isDigit(b[i]); i++ {
		if micros = micros*10 + int64(b[i]-'0'); micros > mostMicros/1e6 {
			return 0, nil, false
		}
	}
	digits := i
	micros *= 1e6
	if i < len(b) && b[i] == '.' {
		i++
		for worth := int64(1e5); i < len(b) && isDigit(b[i]); i++ {
			micros += int64(b[i]-'0') * worth
			worth /= 10
			digits++
		}
	}
	if digits == 0 || i == len(b) || b[i] != '\t' || micros > mostMicros {
		return 0, nil, false
	}
	return micros, b[i+1:], true
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// quoted is the start of b as one may print it.
func quoted(b []byte) string {
	const most = 40
	if len(b) > most {
		return strconv.Quote(string(b[:most])) + "…"
	}
	return strconv.Quote(string(b))
}

// Writer writes a tape. Lines go to w one whole line a call.
type Writer struct {
	w    io.Writer
	line []byte
}

// NewWriter begins a tape whose second 0 is at started.
func NewWriter(w io.Writer, started time.Time) (*Writer, error) {
	_, err := fmt.Fprintf(w, "# started %s\n", started.UTC().Format(time.RFC3339Nano))
	return &Writer{w: w}, err
}

// Comment writes a comment line.
func (w *Writer) Comment(text string) error {
	_, err := fmt.Fprintf(w.w, "# %s\n", text)
	return err
}

// Chunk writes the bytes that were read at the microsecond at.
func (w *Writer) Chunk(at int64, chunk []byte) error {
	w.line = append(appendSeconds(w.line[:0], at), '\t')
	w.line = append(hex.AppendEncode(w.line, chunk), '\n')
	_, err := w.w.Write(w.line)
	return err
}

// Text writes a line of the tape of the commands. text must be one line.
func (w *Writer) Text(at int64, text []byte) error {
	w.line = append(appendSeconds(w.line[:0], at), '\t')
	w.line = append(append(w.line, text...), '\n')
	_, err := w.w.Write(w.line)
	return err
}

// appendSeconds writes micros as seconds with six places.
func appendSeconds(b []byte, micros int64) []byte {
	b = strconv.AppendInt(b, micros/1_000_000, 10)
	frac := micros % 1_000_000
	b = append(b, '.')
	for d := int64(100_000); d > 0; d /= 10 {
		b = append(b, byte('0'+frac/d%10))
	}
	return b
}
