package ledger

import (
	"bytes"
	"encoding/csv"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"thouwright/internal/quantity"
)

// oracle reads a row with a general CSV reader.
func oracle(t *rapid.T, f File, row []byte) []string {
	if bytes.ContainsAny(row, "\r\n\x00") {
		t.Fatalf("row %q spans lines or holds a NUL", row)
	}
	got, err := csv.NewReader(bytes.NewReader(append(row, '\n'))).Read()
	if err != nil || len(got) != len(f.Columns)-1 {
		t.Fatalf("%s: row %q reads as %q, %v", f.Name, row, got, err)
	}
	own, err := SplitRow(row, nil)
	if err != nil || cmp.Diff(got, own) != "" {
		t.Fatalf("%s: row %q splits into %q, %v; encoding/csv says %q", f.Name, row, own, err, got)
	}
	return own
}

// word is any text as a field holds it (a cleaned text reads back unchanged).
func word() *rapid.Generator[string] {
	return rapid.Map(rapid.OneOf(rapid.String(), rapid.StringMatching(`[a-z",=@\\ ]{0,8}`)), func(s string) string {
		return strings.Map(func(r rune) rune {
			if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
				return ' '
			}
			return r
		}, s)
	})
}

// number is a float that twelve digits hold.
func number() *rapid.Generator[float64] {
	return rapid.Map(rapid.Float64Range(-1e6, 1e6), func(v float64) float64 {
		v, _ = strconv.ParseFloat(Number(v), 64)
		return v
	})
}

func unit() *rapid.Generator[quantity.Unit] {
	return rapid.SampledFrom([]quantity.Unit{quantity.None, quantity.MM, quantity.UM, quantity.In, quantity.Thou, quantity.N, quantity.NM, quantity.LbfIn, quantity.Deg})
}

func wall() *rapid.Generator[int64] { return rapid.Int64Range(firstWall, lastWall) }

func tag(t *rapid.T) *Tag {
	return &Tag{word().Draw(t, "stage"), word().Draw(t, "component"), word().Draw(t, "position"), word().Draw(t, "check")}
}

func TestReadingRowsReadBack(t *testing.T) {
	var w ReadingWriter // one over all rows: what it keeps must never leak into the next
	var p ReadingParser
	rapid.Check(t, func(t *rapid.T) {
		r := Reading{Seq: rapid.Uint64().Draw(t, "seq"), At: Stamp{wall().Draw(t, "wall"), rapid.Int64Range(-1e15, 1e15).Draw(t, "elapsed")},
			Gauge: word().Draw(t, "gauge"), Tag: tag(t), Raw: rapid.SliceOfN(rapid.Byte(), 0, 20).Draw(t, "raw"),
			HasVal: rapid.Bool().Draw(t, "has"), Unit: unit().Draw(t, "unit"), Motion: Motion(rapid.IntRange(0, 3).Draw(t, "motion"))}
		if r.HasVal {
			r.Value = quantity.Decimal{Coef: rapid.Uint64().Draw(t, "coef"), Scale: int8(rapid.IntRange(0, 25).Draw(t, "scale")), Neg: rapid.Bool().Draw(t, "neg")}
			r.Value.Coef /= 10 // ten times the largest does not read back
		}
		if rapid.Bool().Draw(t, "the same second") {
			r.At.Wall = rapid.Int64Range(0, 999_999).Draw(t, "microseconds")
		}
		row := w.Append(nil, &r)
		fields := oracle(t, ReadingsFile, row)
		got, err := p.Parse(row)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(r, got, cmpopts.EquateEmpty()); d != "" {
			t.Fatal(d)
		}
		checkMM(t, &r, fields[11])
	})
}

// checkMM compares the mm column with rational arithmetic.
func checkMM(t *rapid.T, r *Reading, mm string) {
	if !r.HasVal || !r.Unit.IsLength() {
		if mm != "" {
			t.Fatalf("mm is %q for a reading without a length", mm)
		}
		return
	}
	factor, _ := r.Unit.Exact()
	want, ok := new(big.Rat).SetString(r.Value.String())
	f, ok2 := new(big.Rat).SetString(factor.String())
	got, ok3 := new(big.Rat).SetString(mm)
	if !ok || !ok2 || !ok3 || want.Mul(want, f).Cmp(got) != 0 {
		t.Fatalf("%s %s is %s mm, expected exactly %s", r.Value, r.Unit, mm, want.FloatString(40))
	}
}

func TestTakeRowsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := func(name string) float64 { return number().Draw(t, name) }
		k := func(name string) uint64 { return rapid.Uint64().Draw(t, name) }
		i := func(name string) int { return rapid.IntRange(0, 1000).Draw(t, name) }
		want := Take{Take: k("take"), At: Stamp{Wall: wall().Draw(t, "wall")}, Tag: *tag(t), Method: word().Draw(t, "method"), Gauge: word().Draw(t, "gauge"),
			Unit: unit().Draw(t, "unit"), Result: n("result"), U95: n("u95"), Low: math.Inf(-1), High: n("high"), Verdict: Undecided, Side: "above",
			PIn: n("in"), PBelow: n("below"), PAbove: n("above"), Dof: math.Inf(1), Confidence: 0.95, Strokes: i("strokes"), LeftOut: i("left"),
			DriftPerMin: n("drift"), FirstSeq: k("first"), LastSeq: k("last"), Replaces: k("replaces"), Operator: word().Draw(t, "who"), Sheet: i("sheet"), Note: word().Draw(t, "note")}
		got, err := ParseTake(oracle(t, TakesFile, AppendTake(nil, &want)))
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
	})
}

func TestSmallRowsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := func(name string) float64 { return number().Draw(t, name) }
		k := func(name string) uint64 { return rapid.Uint64().Draw(t, name) }
		s := func(name string) string { return word().Draw(t, name) }
		rest := Rest{k("take"), rapid.Int().Draw(t, "rest"), k("first"), k("last"), n("t"), s("side"), rapid.Int().Draw(t, "level"), n("value"), rapid.Bool().Draw(t, "used"), s("reason")}
		got, err := ParseRest(oracle(t, RestsFile, AppendRest(nil, &rest)))
		if err != nil || got != rest {
			t.Fatalf("%+v came back as %+v, %v", rest, got, err)
		}
		line := BudgetLine{s("part"), n("v"), unit().Draw(t, "unit"), s("distribution"), n("divisor"), n("u"), math.Inf(1)}
		take, l, err := ParseBudget(oracle(t, BudgetFile, AppendBudget(nil, rest.Take, &line)))
		if err != nil || l != line || take != rest.Take {
			t.Fatalf("%+v came back as %+v, %v", line, l, err)
		}
		extra := Extra{s("quantity"), n("value"), line.Unit, n("u95")}
		take, x, err := ParseExtra(oracle(t, ExtrasFile, AppendExtra(nil, rest.Take, &extra)))
		if err != nil || x != extra || take != rest.Take {
			t.Fatalf("%+v came back as %+v, %v", extra, x, err)
		}
		event := Event{k("seq"), Stamp{Wall: wall().Draw(t, "wall")}, EventKind(s("kind")), s("gauge"), s("text")}
		e, err := ParseEvent(oracle(t, EventsFile, AppendEvent(nil, &event)))
		if err != nil || e != event {
			t.Fatalf("%+v came back as %+v, %v", event, e, err)
		}
	})
}

func TestNumbers(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", math.Copysign(0, -1): "0", 0.05: "0.05", -0.0045: "-0.0045", 0.1 + 0.2: "0.3", 1e21: "1000000000000000000000",
		1e-7: "0.0000001", 1e-19: "0", 2.0 / 3: "0.666666666667", math.Inf(1): "", math.Inf(-1): "", math.NaN(): "", 25: "25",
	} {
		if got := Number(v); got != want {
			t.Errorf("%g is written %q, expected %q", v, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "v")
		s := Number(v)
		if strings.ContainsAny(s, "eE") {
			t.Fatalf("%g is written %q, with an exponent", v, s)
		}
		if s == "" {
			return
		}
		back, err := strconv.ParseFloat(s, 64)
		if err != nil || Number(back) != s || math.Abs(back-v) > 5e-12*math.Abs(v) && math.Abs(v) >= 1e-18 {
			t.Fatalf("%g is written %q and read as %g", v, s, back)
		}
		// Package strconv finds the shortest text of the number with twelve digits.
		if math.Abs(v) >= 1e-18 {
			twelve, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 11, 64), 64)
			if want := strconv.FormatFloat(twelve, 'f', -1, 64); s != want {
				t.Fatalf("%g is written %q, expected %q", v, s, want)
			}
		}
	})
}

func TestTimes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		us := wall().Draw(t, "wall")
		s := string(AppendTime(nil, us))
		if want := time.UnixMicro(us).UTC().Format("2006-01-02T15:04:05.000000Z07:00"); s != want {
			t.Fatalf("%d is written %s, expected %s", us, s, want)
		}
		if back, err := ParseTime(s); err != nil || back != us {
			t.Fatalf("%s read as %d, %v; expected %d", s, back, err, us)
		}
	})
	for _, s := range []string{"", "2026-11-25T08:00:00Z", "2026-11-25T08:00:00.000000+00:00", "2026-11-25 08:00:00.000000Z", "2026-13-25T08:00:00.000000Z", "2026-11-25T08:00:00,000000Z"} {
		if _, err := ParseTime(s); err == nil {
			t.Errorf("%q was taken for a time", s)
		}
	}
}

func TestPlacesReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.OneOf(rapid.StringMatching(`[a> \\]{0,8}`), rapid.String())
		want := Tag{Component: name.Draw(t, "component"), Check: name.Draw(t, "check"), Position: name.Draw(t, "position")}
		got, ok := ParsePlace(PlaceText(want))
		if !ok || got != want {
			t.Fatalf("%+v came back as %+v from %q", want, got, PlaceText(want))
		}
	})
	if _, ok := ParsePlace("nothing of the kind"); ok {
		t.Error("any text is taken for a place")
	}
}

// The chain by the words of the contract, written out by hand with sha256sum:
//
//	printf 'events.csv 2026-041\nseq,time,kind,gauge,text,chain' | sha256sum
//	printf '%s0,2026-11-25T08:00:00.000000Z,start,,' SEED | sha256sum
func TestTheChainIsWhatTheContractSays(t *testing.T) {
	c := Seed("events.csv", "2026-041", EventsFile.Header())
	if want := "e2468ea4ce3b393d"; c.String() != want {
		t.Errorf("seed %s, expected %s", c, want)
	}
	e := Event{At: Stamp{Wall: time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC).UnixMicro()}, Kind: EvStart}
	row := AppendEvent(nil, &e)
	next := c.Next(row)
	if want := "e0a28fa10c00c937"; next.String() != want {
		t.Errorf("first row's chain %s, expected %s", next, want)
	}
	b := AppendChained([]byte("before\n"), &c, func(b []byte) []byte { return AppendEvent(b, &e) })
	if want := "before\n" + string(row) + "," + next.String() + "\n"; string(b) != want || c != next {
		t.Errorf("row %q, expected %q", b, want)
	}
}

func TestClockWatch(t *testing.T) {
	at := func(wall, elapsed float64) Stamp { return Stamp{clockBorn + int64(wall*1e6), int64(elapsed * 1e6)} }
	for _, c := range []struct {
		name   string
		stamps []Stamp
		want   []string // a part of the text, "" for none
	}{
		{"steady", []Stamp{at(0, 0), at(1, 1), at(3600, 3600)}, []string{"", "", ""}},
		{"back an hour", []Stamp{at(7200, 0), at(3601, 1), at(3602, 2)}, []string{"", "stepped by -3600.000000 s", ""}},
		{"forward", []Stamp{at(0, 0), at(61, 1)}, []string{"", "stepped by 60.000000 s"}},
		{"slewed", []Stamp{at(0, 0), at(10.1, 10), at(20.2, 20), at(30.3, 30), at(40.4, 40), at(50.5, 50), at(60.6, 60)}, []string{"", "", "", "", "", "", ""}},
		{"woke in 1970, then set", []Stamp{{1e6, 0}, {clockBorn * 1.1, 1e6}}, []string{"was not set", "stepped by"}},
	} {
		var w ClockWatch
		for i, s := range c.stamps {
			if got := w.See(s); (got == "") != (c.want[i] == "") || !strings.Contains(got, c.want[i]) {
				t.Errorf("%s, stamp %d: %q, expected %q", c.name, i, got, c.want[i])
			}
		}
	}
}

// On the night in which the clocks go back, a shop's wall clock shows the same
// hour twice. The logs' times are UTC and go on; nothing was stepped.
func TestTheNightTheClocksGoBack(t *testing.T) {
	here, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	defer func(l *time.Location) { time.Local = l }(time.Local)
	time.Local = here
	before := time.Date(2026, 10, 25, 0, 59, 59, 0, time.UTC) // 02:59:59 in summer time, then 02:00:00
	var w ClockWatch
	var texts, local []string
	for i := range 3 {
		s := Stamp{before.UnixMicro() + int64(i)*1e6, int64(i) * 1e6}
		if said := w.See(s); said != "" {
			t.Errorf("second %d: %q", i, said)
		}
		texts = append(texts, string(AppendTime(nil, s.Wall)))
		local = append(local, time.UnixMicro(s.Wall).Format(time.TimeOnly))
	}
	if local[0] < local[1] {
		t.Fatalf("no such night: %q", local)
	}
	if want := []string{"2026-10-25T00:59:59.000000Z", "2026-10-25T01:00:00.000000Z", "2026-10-25T01:00:01.000000Z"}; !slices.Equal(texts, want) {
		t.Errorf("%q, expected %q", texts, want)
	}
}

func FuzzSplitRow(f *testing.F) {
	for _, s := range []string{"", ",", `a,"b,c",d`, `"a""b"`, `"a`, `"a"b`, `a"b`, "\xff,\x00"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		got, err := SplitRow(line, nil)
		if err != nil || bytes.ContainsAny(line, "\r\n") {
			return
		}
		want, err := csv.NewReader(bytes.NewReader(append(bytes.Clone(line), '\n'))).Read()
		if len(line) == 0 {
			return // a general reader skips empty lines
		}
		if err != nil || cmp.Diff(want, got) != "" {
			t.Fatalf("%q splits into %q, encoding/csv says %q, %v", line, got, want, err)
		}
	})
}

// BenchmarkReadingRow is what the journal does for each reading: format,
// chain, append. The aim is under 700 ns without allocation.
func BenchmarkReadingRow(b *testing.B) {
	v, _ := quantity.ParseDecimal("-0.00450")
	r := Reading{Seq: 1234567, At: Stamp{1795593600123456, 123456789}, Gauge: "dial-1",
		Tag: &Tag{"as found", "left swivel pin", "left lock", "play in bushes"}, Raw: []byte("-0.00450 in"),
		Value: v, HasVal: true, Unit: quantity.In, Motion: AtRest}
	var w ReadingWriter
	c := Seed(ReadingsFile.Name, "2026-041", ReadingsFile.Header())
	buf := make([]byte, 0, 1<<20)
	b.ReportAllocs()
	for b.Loop() {
		if len(buf) > 1<<19 {
			buf = buf[:0]
		}
		r.Seq++
		r.At.Wall += 1000
		r.At.Elapsed += 1000
		n := len(buf)
		buf = SealRow(w.Append(append(buf, c[:]...), &r), n, &c)
	}
	b.SetBytes(int64(len(buf)) / max(int64(bytes.Count(buf, []byte("\n"))), 1))
}

func BenchmarkParseReading(b *testing.B) {
	row := []byte("1234567,2026-11-25T08:00:00.123456Z,123.456789,as found,left swivel pin,left lock,play in bushes,dial-1,-0.00450 in,-0.00450,in,-0.1143000,rest")
	var p ReadingParser
	b.ReportAllocs()
	for b.Loop() {
		if _, err := p.Parse(row); err != nil {
			b.Fatal(err)
		}
	}
}
