package ledger

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"thouwright/internal/quantity"
)

var nan = math.NaN()

// SplitRow splits one line (without its line end) into its fields, strictly by
// RFC 4180: a quote stands only around a whole field and doubled inside it.
// The fields are appended to into[:0].
func SplitRow(line []byte, into []string) ([]string, error) {
	s := string(line)
	into = into[:0]
	for {
		if s == "" || s[0] != '"' {
			end := strings.IndexByte(s, ',')
			field := s
			if end >= 0 {
				field = s[:end]
			}
			if strings.IndexByte(field, '"') >= 0 {
				return into, fmt.Errorf("field %d holds a quote outside quotes", len(into)+1)
			}
			into = append(into, field)
			if end < 0 {
				return into, nil
			}
			s = s[end+1:]
			continue
		}
		end, doubled := 1, false
		for {
			i := strings.IndexByte(s[end:], '"')
			if i < 0 {
				return into, fmt.Errorf("field %d has no closing quote", len(into)+1)
			}
			end += i
			if end+1 < len(s) && s[end+1] == '"' {
				end, doubled = end+2, true
				continue
			}
			break
		}
		field := s[1:end]
		if doubled {
			field = strings.ReplaceAll(field, `""`, `"`)
		}
		into = append(into, field)
		s = s[end+1:]
		if s == "" {
			return into, nil
		}
		if s[0] != ',' {
			return into, fmt.Errorf("field %d goes on behind its closing quote", len(into))
		}
		s = s[1:]
	}
}

// ErrColumns is returned for a row with too few or too many fields.
var ErrColumns = errors.New("wrong number of columns")

// scanner takes a row's fields one after the other and keeps the first error.
type scanner struct {
	file   File
	fields []string
	at     int
	err    error
}

func scan(f File, fields []string) *scanner {
	s := &scanner{file: f, fields: fields}
	if n := len(f.Columns); len(fields) != n && len(fields) != n-1 { // with or without the chain
		s.err = fmt.Errorf("%w: found %d, expected %d", ErrColumns, len(fields), n)
	}
	return s
}

func (s *scanner) text() string {
	if s.err != nil {
		return ""
	}
	s.at++
	return s.fields[s.at-1]
}

func (s *scanner) fail(found, expected string) {
	if s.err == nil {
		s.err = fmt.Errorf("column %s is %q: expected %s", s.file.Columns[s.at-1], found, expected)
	}
}

// number reads a number; an empty field is the given value.
func (s *scanner) number(empty float64) float64 {
	t := s.text()
	if t == "" {
		return empty
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || strings.ContainsAny(t, "xXnNpP_") {
		s.fail(t, "a number")
	}
	return v
}

func (s *scanner) count() uint64 {
	t := s.text()
	if s.err != nil {
		return 0
	}
	n, err := strconv.ParseUint(t, 10, 64)
	if err != nil {
		s.fail(t, "a count")
	}
	return n
}

func (s *scanner) some() uint64 {
	if s.err == nil && s.fields[s.at] == "" {
		s.at++
		return 0
	}
	return s.count()
}

func (s *scanner) int() int {
	t := s.text()
	if s.err != nil {
		return 0
	}
	n, err := strconv.Atoi(t)
	if err != nil {
		s.fail(t, "a whole number")
	}
	return n
}

func (s *scanner) time() int64 {
	t := s.text()
	if s.err != nil {
		return 0
	}
	v, err := ParseTime(t)
	if err != nil {
		s.fail(t, timeExample)
	}
	return v
}

func (s *scanner) unit() quantity.Unit {
	t := s.text()
	u, err := quantity.ParseUnit(t)
	if err != nil {
		s.fail(t, "a unit")
	}
	return u
}

func (s *scanner) yes() bool {
	switch t := s.text(); t {
	case "yes":
		return true
	case "no", "":
	default:
		s.fail(t, "yes or no")
	}
	return false
}

const timeExample = "a time such as 2026-11-25T08:00:00.000000Z"

// ParseTime reads a time by TimeLayout, in microseconds since 1970.
func ParseTime(s string) (int64, error) {
	t, err := time.Parse(TimeLayout, s)
	if err != nil || len(s) != len(TimeLayout) || s[19] != '.' { // Parse takes a comma too
		return 0, fmt.Errorf("%q is not "+timeExample, s)
	}
	return t.UnixMicro(), nil
}

// ParseSeconds reads seconds with six places, in microseconds.
func ParseSeconds(s string) (int64, error) {
	whole, frac, ok := strings.Cut(strings.TrimPrefix(s, "-"), ".")
	n, err := strconv.ParseUint(whole, 10, 63)
	f, err2 := strconv.ParseUint(frac, 10, 63)
	if !ok || len(frac) != 6 || err != nil || err2 != nil || n > math.MaxInt64/1000000-1 {
		return 0, fmt.Errorf("%q is not a number of seconds with six places", s)
	}
	us := int64(n*1e6 + f)
	if s[0] == '-' {
		us = -us
	}
	return us, nil
}

// ReadingParser reads rows of readings.csv. It keeps what neighbours share: the
// names and the second. The zero value is ready.
type ReadingParser struct {
	fields []string
	tag    *Tag
	second string // "2026-11-25T08:00:00."
	base   int64  // its time
}

// Parse reads a row without its comma and chain. Step, Fault and Pressed are
// not in the log; a reading without a value is Faulted.
func (p *ReadingParser) Parse(row []byte) (Reading, error) {
	var err error
	if p.fields, err = SplitRow(row, p.fields); err != nil {
		return Reading{}, err
	}
	return p.reading(p.fields)
}

func (p *ReadingParser) reading(fields []string) (r Reading, err error) {
	s := scan(ReadingsFile, fields)
	r.Seq = s.count()
	if t := s.text(); s.err == nil {
		if r.At.Wall, err = p.time(t); err != nil {
			s.fail(t, timeExample)
		}
	}
	if t := s.text(); s.err == nil {
		if r.At.Elapsed, err = ParseSeconds(t); err != nil {
			s.fail(t, "seconds with six places")
		}
	}
	tag := Tag{Stage: s.text(), Component: s.text(), Position: s.text(), Check: s.text()}
	if p.tag == nil || *p.tag != tag {
		p.tag = &Tag{strings.Clone(tag.Stage), strings.Clone(tag.Component), strings.Clone(tag.Position), strings.Clone(tag.Check)}
	}
	r.Tag = p.tag
	r.Gauge = s.text()
	if t := s.text(); s.err == nil {
		var ok bool
		if r.Raw, ok = ParseRaw(t); !ok {
			s.fail(t, `printable bytes and \xNN`)
		}
	}
	if t := s.text(); t != "" {
		if r.Value, err = quantity.ParseDecimal(t); err != nil {
			s.fail(t, "a decimal number")
		}
		r.HasVal = true
	}
	r.Unit = s.unit()
	s.text() // mm follows from value and unit
	t := s.text()
	for i, w := range motionWords {
		if w == t {
			r.Motion = Motion(i)
			return r, s.err
		}
	}
	s.fail(t, "moving, rest, idle or fault")
	return r, s.err
}

// time is ParseTime for times of which many lie in one second.
func (p *ReadingParser) time(t string) (int64, error) {
	const whole = len("2006-01-02T15:04:05.")
	if len(t) != len(TimeLayout) || p.second == "" || t[:whole] != p.second || t[len(t)-1] != 'Z' {
		us, err := ParseTime(t)
		if err == nil {
			frac, _ := strconv.ParseInt(t[whole:len(t)-1], 10, 64)
			p.second, p.base = strings.Clone(t[:whole]), us-frac
		}
		return us, err
	}
	us := int64(0)
	for _, c := range []byte(t[whole : len(t)-1]) {
		if c < '0' || c > '9' {
			return ParseTime(t) // says what is wrong
		}
		us = us*10 + int64(c-'0')
	}
	return p.base + us, nil
}

// ParseRest reads the fields of a row of rests.csv.
func ParseRest(fields []string) (Rest, error) {
	s := scan(RestsFile, fields)
	r := Rest{Take: s.count(), Rest: s.int(), FirstSeq: s.count(), LastSeq: s.count(), T: s.number(nan),
		Side: s.text(), Level: s.int(), Value: s.number(nan), Used: s.yes(), Reason: s.text()}
	return r, s.err
}

// ParseTake reads the fields of a row of takes.csv: open limits come back
// infinite, unknown numbers as NaN.
func ParseTake(fields []string) (Take, error) {
	s := scan(TakesFile, fields)
	t := Take{Take: s.count(), At: Stamp{Wall: s.time()},
		Tag:    Tag{Stage: s.text(), Component: s.text(), Position: s.text(), Check: s.text()},
		Method: s.text(), Gauge: s.text(), Unit: s.unit(),
		Result: s.number(nan), U95: s.number(nan), Low: s.number(math.Inf(-1)), High: s.number(math.Inf(1)),
		Verdict: Verdict(s.text()), Side: s.text(), PIn: s.number(nan), PBelow: s.number(nan), PAbove: s.number(nan),
		Dof: s.number(math.Inf(1)), Confidence: s.number(nan), Strokes: s.int(), LeftOut: s.int(), DriftPerMin: s.number(nan),
		FirstSeq: s.count(), LastSeq: s.count(), Replaces: s.some(), Operator: s.text(),
		Sheet: int(s.some()), Note: s.text()}
	return t, s.err
}

// ParseBudget reads the fields of a row of budget.csv.
func ParseBudget(fields []string) (take uint64, l BudgetLine, err error) {
	s := scan(BudgetFile, fields)
	take = s.count()
	l = BudgetLine{Part: s.text(), Value: s.number(nan), Unit: s.unit(), Distribution: s.text(),
		Divisor: s.number(nan), U: s.number(nan), Dof: s.number(math.Inf(1))}
	return take, l, s.err
}

// ParseExtra reads the fields of a row of extras.csv.
func ParseExtra(fields []string) (take uint64, e Extra, err error) {
	s := scan(ExtrasFile, fields)
	take = s.count()
	e = Extra{Quantity: s.text(), Value: s.number(nan), Unit: s.unit(), U95: s.number(nan)}
	return take, e, s.err
}

// ParseEvent reads the fields of a row of events.csv.
func ParseEvent(fields []string) (Event, error) {
	s := scan(EventsFile, fields)
	e := Event{Seq: s.count(), At: Stamp{Wall: s.time()}, Kind: EventKind(s.text()), Gauge: s.text(), Text: s.text()}
	return e, s.err
}
