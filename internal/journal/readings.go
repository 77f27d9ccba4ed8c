package journal

import (
	"errors"
	"fmt"
	"io"
	"iter"

	"thouwright/internal/ledger"
)

// Readings streams the readings in order, each once, over all parts. A row
// that cannot be read gives an error and the next row; a file that cannot be
// read ends the stream with its error. A reading's Raw and Tag stay valid.
func (f *Folder) Readings() iter.Seq2[ledger.Reading, error] {
	return f.ReadingsBetween(0, ^uint64(0))
}

// ReadingsBetween is Readings for the readings from first to last, both
// included.
func (f *Folder) ReadingsBetween(first, last uint64) iter.Seq2[ledger.Reading, error] {
	return func(yield func(ledger.Reading, error) bool) {
		var p ledger.ReadingParser
		for _, part := range f.parts[ledger.ReadingsFile.Name] {
			for line, err := range f.countedLines(part) {
				if err == nil {
					var seq uint64
					if seq, err = rowSeq(line.payload); err == nil && seq < first {
						continue
					} else if err == nil && seq > last {
						return
					}
				}
				var r ledger.Reading
				if err == nil {
					r, err = p.Parse(line.payload)
				}
				if err != nil {
					err = fmt.Errorf("%s:%d: %w", part.name, line.number, err)
				}
				if !yield(r, err) {
					return
				}
			}
		}
	}
}

type countedLine struct {
	row
	number int
}

// countedLines streams the whole rows of a part of readings.csv that count.
func (f *Folder) countedLines(p part) iter.Seq2[countedLine, error] {
	return func(yield func(countedLine, error) bool) {
		file := ledger.ReadingsFile
		ends := p.end != ledger.Chain{}
		if ends && p.end == ledger.Seed(p.name, f.Number, file.Header()) {
			return
		}
		r, err := f.open(p.name)
		if err != nil {
			yield(countedLine{}, readError{bare(err)})
			return
		}
		defer r.Close()
		lines := newLineReader(r)
		defer lines.done()
		for {
			line, err := lines.next()
			if errors.Is(err, io.EOF) || err == nil && lines.torn {
				return
			}
			if err == nil && lines.line == 1 {
				continue
			}
			var x countedLine
			if err == nil {
				x.row, err = cutRow(file, line)
			} else {
				yield(countedLine{number: lines.line}, readError{bare(err)})
				return
			}
			x.number = lines.line
			if !yield(x, err) || ends && err == nil && x.chain == p.end {
				return
			}
		}
	}
}

// rowSeq is the first field of a row.
func rowSeq(payload []byte) (n uint64, err error) {
	for i, c := range payload {
		if c == ',' && i > 0 {
			return n, nil
		}
		if c < '0' || c > '9' || i > 18 {
			break
		}
		n = n*10 + uint64(c-'0')
	}
	return 0, errors.New("does not begin with a sequence number")
}

// setReadingsEnds finds where the older parts of readings.csv end: where an
// anchor says, or else (the run was killed before it could say) before the
// first reading that the next part holds.
func (f *Folder) setReadingsEnds() {
	file := ledger.ReadingsFile
	parts := f.parts[file.Name]
	next := ^uint64(0) // the first reading of the parts behind
	for i := len(parts) - 1; i >= 0; i-- {
		p := &parts[i]
		seed := ledger.Seed(p.name, f.Number, file.Header())
		c, stated := f.stated[p.name]
		scan := i < len(parts)-1 && !stated
		switch {
		case stated:
			p.end, p.stated = c, true
		case scan:
			p.end = seed
		}
		if stated && c == seed {
			continue
		}
		first := next
		for line, err := range f.countedLines(part{name: p.name}) {
			var seq uint64
			if err == nil {
				seq, err = rowSeq(line.payload)
			}
			if lost := (readError{}); errors.As(err, &lost) {
				f.unread(p.name, lost.error)
			}
			if err != nil {
				continue
			}
			first = min(first, seq)
			if !scan || seq >= next {
				break
			}
			p.end = line.chain
		}
		next = first
	}
}

// readError is a file that could not be read, as against a row.
type readError struct{ error }

func (e readError) Unwrap() error { return e.error }

// lastReading is the last reading in the folder; ok is false without any.
func (f *Folder) lastReading() (r ledger.Reading, ok bool, err error) {
	parts := f.parts[ledger.ReadingsFile.Name]
	for i := len(parts) - 1; i >= 0 && !ok; i-- {
		var p ledger.ReadingParser
		payload, err := f.lastPayload(parts[i], i == len(parts)-1)
		if err != nil {
			return r, false, fmt.Errorf("%s: %w", parts[i].name, bare(err))
		}
		if payload == nil {
			continue
		}
		if r, err = p.Parse(payload); err != nil {
			f.problem("%s: %v", parts[i].name, err)
			continue
		}
		ok = true
	}
	return r, ok, nil
}

// lastPayload is the last row of a part that counts. The last part is read
// from its end; the older ones are rare and read through.
func (f *Folder) lastPayload(p part, last bool) (payload []byte, err error) {
	file := ledger.ReadingsFile
	if !last {
		for line, err := range f.countedLines(p) {
			if lost := (readError{}); errors.As(err, &lost) {
				return nil, lost.error // not a row that is no row: the file
			}
			if err == nil {
				payload = append(payload[:0], line.payload...)
			}
		}
		return payload, nil
	}
	r, err := f.open(p.name)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	rows, _, err := tailRows(file, r, r.Size())
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	return rows[len(rows)-1].payload, nil
}
