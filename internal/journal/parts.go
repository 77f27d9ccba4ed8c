package journal

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"thouwright/internal/ledger"
)

// numberForm is what a job number may be (it names a folder).
var numberForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$`)

// CheckNumber refuses a job number that could not name a folder.
func CheckNumber(number string) error {
	if numberForm.MatchString(number) {
		return nil
	}
	if len(number) > 80 {
		number = number[:80] + "…"
	}
	return fmt.Errorf("job number %q: expected 1 to 64 letters, digits, '.', '_' or '-', beginning with a letter or digit", number)
}

// partName is the name of a file's n-th part: readings.csv, readings.2.csv.
func partName(name string, n int) string {
	if n <= 1 {
		return name
	}
	ext := filepath.Ext(name)
	return strings.TrimSuffix(name, ext) + "." + strconv.Itoa(n) + ext
}

// partNumber is partName undone: 0 where name is no part of file.
func partNumber(file, name string) int {
	if name == file {
		return 1
	}
	ext := filepath.Ext(file)
	s, ok := strings.CutPrefix(name, strings.TrimSuffix(file, ext)+".")
	if !ok {
		return 0
	}
	if s, ok = strings.CutSuffix(s, ext); !ok {
		return 0
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 2 || partName(file, n) != name {
		return 0
	}
	return n
}

// logOf is the log that a part's name belongs to: readings of readings.2.csv.
func logOf(name string) string {
	log, _, _ := strings.Cut(name, ".")
	return log
}

// partsOf lists the numbers of a file's parts among names, in order.
func partsOf(file string, names []string) (parts []int) {
	for _, name := range names {
		if n := partNumber(file, name); n > 0 {
			parts = append(parts, n)
		}
	}
	slices.Sort(parts)
	return parts
}

// namesIn lists what stands in a folder; none where there is no folder.
func namesIn(fsys FS, dir string) ([]string, error) {
	entries, err := fsys.ReadDir(dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = e.Name()
	}
	return names, nil
}

// row is one whole line of a log: its payload (without comma and chain) and
// its chain.
type row struct {
	payload []byte
	chain   ledger.Chain
}

// cutRow takes a line (without its line end) apart. A whole row ends in a
// comma and 16 hex digits, has the file's number of columns and no control
// characters: a torn block of a crashed disk is none.
func cutRow(f ledger.File, line []byte) (row, error) {
	at := len(line) - ledger.ChainLen
	if at < 0 || line[at] != ',' {
		return row{}, errors.New("does not end in a comma and a chain of 16 hex digits")
	}
	c, ok := ledger.ParseChain(line[at+1:])
	if !ok {
		return row{}, errors.New("does not end in a comma and a chain of 16 hex digits")
	}
	for _, b := range line {
		if b < ' ' && b != '\t' {
			return row{}, fmt.Errorf("holds the control character \\x%02x", b)
		}
	}
	if n := countFields(line); n != len(f.Columns) {
		return row{}, fmt.Errorf("%w: found %d, expected %d", ledger.ErrColumns, n, len(f.Columns))
	}
	return row{line[:at], c}, nil
}

// countFields counts commas outside quotes, plus one.
func countFields(line []byte) int {
	if bytes.IndexByte(line, '"') < 0 {
		return bytes.Count(line, []byte{','}) + 1
	}
	n, quoted := 1, false
	for _, c := range line {
		switch {
		case c == '"':
			quoted = !quoted
		case c == ',' && !quoted:
			n++
		}
	}
	return n
}

// lineReader reads a file's lines with their line numbers and offsets. A last
// line without its line end is torn.
type lineReader struct {
	r    *bufio.Reader
	long []byte
	line int
	at   int64 // offset behind the last line
	torn bool
}

// buffers are shared, because a folder has many small files.
var buffers = sync.Pool{New: func() any { return bufio.NewReaderSize(nil, 1<<17) }}

func newLineReader(r io.Reader) *lineReader {
	b := buffers.Get().(*bufio.Reader)
	b.Reset(r)
	return &lineReader{r: b}
}

// done gives the buffer back; no line is valid any more.
func (l *lineReader) done() {
	l.r.Reset(nil)
	buffers.Put(l.r)
}

// next is the next line without its line end, valid until the next call;
// io.EOF behind the last.
func (l *lineReader) next() ([]byte, error) {
	l.long = l.long[:0]
	for {
		b, err := l.r.ReadSlice('\n')
		if err == nil {
			l.at += int64(len(b))
			l.line++
			b = b[:len(b)-1]
			if len(l.long) > 0 {
				l.long = append(l.long, b...)
				b = l.long
			}
			return b, nil
		}
		l.long = append(l.long, b...)
		l.at += int64(len(b))
		if errors.Is(err, bufio.ErrBufferFull) {
			continue
		}
		if errors.Is(err, io.EOF) && len(l.long) > 0 {
			l.torn = true
			l.line++
			return l.long, nil
		}
		return nil, err
	}
}
