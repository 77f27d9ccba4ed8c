package ledger

import "strconv"

// The functions here write one row each, without its comma and chain, in the
// order of the file's Columns.

// ReadingWriter writes rows of readings.csv. It keeps what rarely changes (the
// second, the names) as text, so a row costs no allocation. The zero value is
// ready.
type ReadingWriter struct {
	second  int64
	clock   []byte // the time up to the second
	tag     Tag
	gauge   string
	names   []byte // ",stage,component,position,check,gauge,"
	haveSec bool
}

// Append writes the row of one reading.
func (w *ReadingWriter) Append(b []byte, r *Reading) []byte {
	b = strconv.AppendUint(b, r.Seq, 10)
	b = append(b, ',')
	b = w.appendTime(b, r.At.Wall)
	b = append(b, ',')
	b = AppendSeconds(b, r.At.Elapsed)
	b = w.appendNames(b, r)
	b = AppendCSVRaw(b, r.Raw)
	b = append(b, ',')
	if r.HasVal {
		b = r.Value.Append(b)
	}
	b = append(b, ',')
	b = append(b, r.Unit.String()...)
	b = append(b, ',')
	if r.HasVal {
		b = AppendMM(b, r.Value, r.Unit)
	}
	b = append(b, ',')
	return append(b, r.Motion.String()...)
}

func (w *ReadingWriter) appendTime(b []byte, wall int64) []byte {
	wall = min(max(wall, firstWall), lastWall)
	sec, us := wall/1e6, wall%1e6
	if us < 0 {
		sec, us = sec-1, us+1e6
	}
	if !w.haveSec || sec != w.second {
		w.second, w.haveSec = sec, true
		w.clock = AppendTime(w.clock[:0], sec*1e6)
		w.clock = w.clock[:len("2006-01-02T15:04:05")]
	}
	b = append(b, w.clock...)
	b = append(b, fraction(uint64(us))...)
	return append(b, 'Z')
}

func (w *ReadingWriter) appendNames(b []byte, r *Reading) []byte {
	var tag Tag
	if r.Tag != nil {
		tag = *r.Tag
	}
	if w.names == nil || tag != w.tag || r.Gauge != w.gauge {
		w.tag, w.gauge = tag, r.Gauge
		n := append(w.names[:0], ',')
		for _, s := range [...]string{tag.Stage, tag.Component, tag.Position, tag.Check, r.Gauge} {
			n = append(AppendCSV(n, s), ',')
		}
		w.names = n
	}
	return append(b, w.names...)
}

// fields joins what a row's writers append with commas.
type fields []byte

func (f fields) text(s string) fields    { return append(AppendCSV(f, s), ',') }
func (f fields) number(v float64) fields { return append(AppendNumber(f, v), ',') }
func (f fields) count(n uint64) fields   { return append(strconv.AppendUint(f, n, 10), ',') }
func (f fields) int(n int) fields        { return append(strconv.AppendInt(f, int64(n), 10), ',') }
func (f fields) time(wall int64) fields  { return append(AppendTime(f, wall), ',') }

// some is count, with nothing for 0.
func (f fields) some(n uint64) fields {
	if n == 0 {
		return append(f, ',')
	}
	return f.count(n)
}

func (f fields) yes(v bool) fields {
	if v {
		return append(f, "yes,"...)
	}
	return append(f, "no,"...)
}

// done drops the last comma.
func (f fields) done() []byte { return f[:len(f)-1] }

// AppendRest writes a row of rests.csv.
func AppendRest(b []byte, r *Rest) []byte {
	return fields(b).count(r.Take).int(r.Rest).count(r.FirstSeq).count(r.LastSeq).number(r.T).
		text(r.Side).int(r.Level).number(r.Value).yes(r.Used).text(r.Reason).done()
}

// AppendTake writes a row of takes.csv. Open limits, an infinite dof and
// unknown numbers are empty fields.
func AppendTake(b []byte, t *Take) []byte {
	return fields(b).count(t.Take).time(t.At.Wall).
		text(t.Tag.Stage).text(t.Tag.Component).text(t.Tag.Position).text(t.Tag.Check).
		text(t.Method).text(t.Gauge).text(t.Unit.String()).
		number(t.Result).number(t.U95).number(t.Low).number(t.High).
		text(string(t.Verdict)).text(t.Side).number(t.PIn).number(t.PBelow).number(t.PAbove).
		number(t.Dof).number(t.Confidence).int(t.Strokes).int(t.LeftOut).number(t.DriftPerMin).
		count(t.FirstSeq).count(t.LastSeq).some(t.Replaces).text(t.Operator).
		some(uint64(max(t.Sheet, 0))).text(t.Note).done()
}

// AppendBudget writes a row of budget.csv.
func AppendBudget(b []byte, take uint64, l *BudgetLine) []byte {
	return fields(b).count(take).text(l.Part).number(l.Value).text(l.Unit.String()).
		text(l.Distribution).number(l.Divisor).number(l.U).number(l.Dof).done()
}

// AppendExtra writes a row of extras.csv.
func AppendExtra(b []byte, take uint64, e *Extra) []byte {
	return fields(b).count(take).text(e.Quantity).number(e.Value).text(e.Unit.String()).number(e.U95).done()
}

// AppendEvent writes a row of events.csv.
func AppendEvent(b []byte, e *Event) []byte {
	return fields(b).count(e.Seq).time(e.At.Wall).text(string(e.Kind)).text(e.Gauge).text(e.Text).done()
}

// BoundExtra is the quantity in extras.csv that says that a take's result is
// an upper bound ('< result'): the play was under one step of the gauge.
const BoundExtra = "upper bound"

// KeptExtras is what extras.csv keeps of a take: its extras and, where the
// result is an upper bound, the line that says so.
func (t *Take) KeptExtras() []Extra {
	if !t.Bound {
		return t.Extras
	}
	return append([]Extra{{Quantity: BoundExtra, Value: t.Result, Unit: t.Unit, U95: nan}}, t.Extras...)
}

// TakeFields is a take by the columns of takes.csv, in the log's own notation.
func TakeFields(t *Take) map[string]string { return byColumn(TakesFile, AppendTake(nil, t)) }

// ReadingFields is a reading by the columns of readings.csv.
func ReadingFields(r *Reading) map[string]string {
	var w ReadingWriter
	return byColumn(ReadingsFile, w.Append(nil, r))
}

// RestFields is a rest by the columns of rests.csv.
func RestFields(r *Rest) map[string]string { return byColumn(RestsFile, AppendRest(nil, r)) }

// byColumn names a row's fields, without the chain.
func byColumn(f File, row []byte) map[string]string {
	values, err := SplitRow(row, nil)
	if err != nil || len(values) != len(f.Columns)-1 {
		return nil // cannot be: the writers above wrote it
	}
	m := make(map[string]string, len(values))
	for i, v := range values {
		m[f.Columns[i]] = v
	}
	return m
}
