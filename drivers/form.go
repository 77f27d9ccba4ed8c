package drivers

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"

	"thouwright/internal/form"
)

// driverForm is a driver file as TOML has it. Its keys are explained, with what they
// may hold, in form.toml.example.
type driverForm struct {
	Name      string         `toml:"name"`
	About     string         `toml:"about"`
	Line      string         `toml:"line"`
	DTR       *bool          `toml:"dtr"`
	RTS       *bool          `toml:"rts"`
	Sends     string         `toml:"sends"`
	Silence   string         `toml:"silence"`
	Gap       string         `toml:"gap"`
	Unit      string         `toml:"unit"`
	UnitHolds bool           `toml:"unit_holds"`
	Step      string         `toml:"step"`
	AnyCase   bool           `toml:"any_case"`
	SevenBits bool           `toml:"seven_bits"`
	Drop      any            `toml:"drop"`
	Sniff     *bool          `toml:"sniff"`
	Otherwise string         `toml:"otherwise"`
	Pattern   string         `toml:"pattern"`
	Ignore    []string       `toml:"ignore"`
	Frame     formFrame      `toml:"frame"`
	Check     *formCheck     `toml:"check"`
	Number    map[string]any `toml:"number"`
	Units     map[string]any `toml:"units"`
	Channels  map[string]any `toml:"channels"`
	Status    map[string]any `toml:"status"`
	Notes     map[string]any `toml:"notes"`
	Signs     map[string]any `toml:"signs"`
	Places    map[string]any `toml:"places"`
	Faults    map[string]any `toml:"faults"`
	Messages  []formMessage  `toml:"message"`
	Poll      *formPoll      `toml:"poll"`
	Examples  []formExample  `toml:"example"`
}

type formFrame struct {
	Start     string `toml:"start"`
	End       any    `toml:"end"`
	Length    int    `toml:"length"`
	Idle      string `toml:"idle"`
	Max       int    `toml:"max"`
	CountAt   int    `toml:"count_at"`
	CountAs   string `toml:"count_as"`
	CountPlus int    `toml:"count_plus"`
}

type formCheck struct {
	Kind      string `toml:"kind"`
	Poly      *int64 `toml:"poly"`
	Init      *int64 `toml:"init"`
	Out       *int64 `toml:"out"`
	Reflected *bool  `toml:"reflected"`
	Mask      int64  `toml:"mask"`
	Modulo    int64  `toml:"modulo"`
	Add       int64  `toml:"add"`
	As        string `toml:"as"`
	LowFirst  bool   `toml:"low_first"`
	WithStart bool   `toml:"with_start"`
	WithEnd   bool   `toml:"with_end"`
	AfterEnd  bool   `toml:"after_end"`
	Skip      int    `toml:"skip"`
	Wrong     string `toml:"wrong"`
}

type formMessage struct {
	Pattern  string   `toml:"pattern"`
	Item     string   `toml:"item"`
	Between  string   `toml:"between"`
	Fault    string   `toml:"fault"`
	Note     string   `toml:"note"`
	Unit     string   `toml:"unit"`
	Channel  string   `toml:"channel"`
	Channels []string `toml:"channels"`
	Pressed  bool     `toml:"pressed"`
	Ignore   bool     `toml:"ignore"`
}

type formPoll struct {
	Start    string   `toml:"start"`
	Send     any      `toml:"send"`
	Channels []string `toml:"channels"`
	Every    string   `toml:"every"`
	Wait     string   `toml:"wait"`
	Retries  *int     `toml:"retries"`
	Answers  int      `toml:"answers"`
}

type formExample struct {
	About  string   `toml:"about"`
	Bytes  any      `toml:"bytes"`
	Gives  []string `toml:"gives"`
	Opened bool     `toml:"opened"`
}

// mostText bounds a driver file.
const mostText = 64 << 10

// Parse compiles one driver file. file names it in errors and gives the driver
// its name; text is what it holds. An error is one line: file, line, what was
// found and what is expected.
func Parse(file string, text []byte) (*Driver, error) {
	if len(text) > mostText {
		return nil, fmt.Errorf("%s: is %d bytes long; a driver file holds at most %d", file, len(text), mostText)
	}
	whole := text
	text = bytes.TrimPrefix(text, []byte("\ufeff")) // some editors put it in front
	lines, err := form.Scan(text)
	if err != nil {
		return nil, oneLine(file, 0, err.Error())
	}
	d, err := parse(file, text, lines)
	if err == nil {
		d.Text = append([]byte(nil), whole...)
		return d, nil
	}
	line := 0
	what := err.Error()
	var pe toml.ParseError
	var m *mistake
	switch {
	case errors.As(err, &m):
		line = lines.At(m.path...)
		if p := pathText(m.path); p != "" {
			what = p + " " + what
		}
	case errors.As(err, &pe):
		line, what = pe.Position.Line, strings.TrimPrefix(pe.Error(), "toml: ")
		if pe.Message != "" {
			what = pe.Message
		}
		if strings.HasPrefix(what, "expected value but found") {
			what += ": put text between quotes"
		}
	default:
		what = wrongType(what)
	}
	return nil, oneLine(file, line, what)
}

// libraryType is how the TOML library says that a value is of the wrong kind.
var libraryType = regexp.MustCompile(`^toml: (line \d+) \(last key "([^"]*)"\): (?:type mismatch for .*: expected (\S+) but found (\S+)|incompatible types: TOML value has type (\S+); destination has type (\S+))`)

// wrongType says it in a mechanic's words.
func wrongType(text string) string {
	m := libraryType.FindStringSubmatch(text)
	if m == nil {
		return strings.TrimPrefix(text, "toml: ")
	}
	word := func(t string) string {
		t, _, _ = strings.Cut(t, "[")
		if t == "" { // []T
			t = "slice"
		}
		switch t {
		case "table", "map", "struct":
			return "a table, [" + m[2] + "]"
		case "string":
			return "text in quotes"
		case "slice", "array":
			if m[2] == "message" || m[2] == "example" {
				return "a repeated table, [[" + m[2] + "]]"
			}
			return `a list, ["…", "…"]`
		case "bool", "boolean":
			return "true or false"
		case "integer", "int", "int64", "float":
			return "a number without quotes"
		}
		return t
	}
	hint := ""
	if w := m[2] + "s"; strings.HasPrefix(m[4]+m[5], "map") && slices.Contains(known[""], w) {
		hint = fmt.Sprintf(" (did you mean [%s]?)", w)
	}
	return fmt.Sprintf("%s: %s is %s; expected %s%s", m[1], m[2], word(m[4]+m[5]), word(m[3]+m[6]), hint)
}

// oneLine is "FILE:LINE: what", in one line whatever the file held.
func oneLine(file string, line int, what string) error {
	if rest, ok := strings.CutPrefix(what, "line "); ok && line == 0 {
		if n, w, ok := strings.Cut(rest, ": "); ok {
			if k, err := strconv.Atoi(n); err == nil {
				line, what = k, w
			}
		}
	}
	what = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7F {
			return ' '
		}
		return r
	}, what)
	if len(what) > 600 {
		what = strings.ToValidUTF8(what[:600], "") + "…"
	}
	if line > 0 {
		return fmt.Errorf("%s:%d: %s", file, line, what)
	}
	return fmt.Errorf("%s: %s", file, what)
}

func parse(file string, text []byte, lines form.Lines) (*Driver, error) {
	if m := highEscape(text); m != nil {
		return nil, m
	}
	var f driverForm
	meta, err := toml.Decode(string(text), &f)
	if err != nil {
		return nil, err
	}
	for _, k := range meta.Undecoded() {
		switch k[0] {
		case "number", "units", "channels", "status", "notes", "signs", "places", "faults":
			continue // free tables: the compiler looks at each of their keys
		}
		return nil, unknownKey(lines, k)
	}
	// The library drops what is no table without a word.
	tables := map[string]map[string]any{"number": f.Number, "units": f.Units, "channels": f.Channels, "status": f.Status,
		"notes": f.Notes, "signs": f.Signs, "places": f.Places, "faults": f.Faults}
	for _, k := range keysOf(tables) {
		if tables[k] == nil && meta.IsDefined(k) {
			more := ""
			if k == "channels" {
				more = "; names for the values of a pattern belong into its [[message]]"
			}
			return nil, wrongAt([]any{k}, "is no table; expected [%s] and its words below it, each as \"word\" = \"…\"%s", k, more)
		}
	}
	name := fileName(file)
	if f.Name != "" {
		name = f.Name
	}
	return compile(name, file, text, &f, lines)
}

// known are the keys of every table, for the hint at an unknown one.
var known = map[string][]string{
	"": {"name", "about", "line", "dtr", "rts", "sends", "silence", "gap", "unit", "unit_holds", "step", "any_case", "seven_bits", "drop", "sniff", "otherwise",
		"pattern", "ignore", "frame", "check", "number", "units", "channels", "status", "notes", "signs", "places", "faults", "message", "poll", "example"},
	"frame":   {"start", "end", "length", "count_at", "count_as", "count_plus", "idle", "max"},
	"check":   {"kind", "poly", "init", "out", "reflected", "mask", "modulo", "add", "as", "low_first", "with_start", "with_end", "after_end", "skip", "wrong"},
	"message": {"pattern", "item", "between", "fault", "note", "unit", "channel", "channels", "pressed", "ignore"},
	"poll":    {"start", "send", "channels", "every", "wait", "retries", "answers"},
	"example": {"about", "bytes", "gives", "opened"},
	"number":  {"sign", "point", "decimals", "scale", "fractions", "exponent", "base", "bits", "low_first", "group", "sixties", "whole"},
}

func unknownKey(lines form.Lines, key toml.Key) *mistake {
	table := ""
	if len(key) > 1 {
		table = key[0]
	}
	last := key[len(key)-1]
	path := []any{}
	for _, k := range key {
		path = append(path, k)
	}
	if table == "message" || table == "example" { // the library does not say which of them
		for i := 0; lines.Has(table, i); i++ {
			if lines.Has(table, i, last) {
				path = []any{table, i, last}
				break
			}
		}
	}
	what := "is not a key of a driver file"
	if table != "" {
		what = "is not a key of [" + table + "]"
	}
	hint := ""
	for _, t := range keysOf(known) {
		for _, k := range known[t] {
			if k == last && t != "" {
				hint = " (it belongs into [" + t + "])"
			} else if k == last {
				hint = " (it belongs to the top of the file, before the first [table])"
			}
		}
	}
	if hint == "" {
		hint = didYouMean(last, known[table])
	}
	return wrongAt(path, "%s%s; expected one of %s", what, hint, listOf(known[table]))
}

// highEscape refuses "\xB5" in double quotes: TOML makes that the letter
// U+00B5, two bytes, where the file means one.
func highEscape(text []byte) *mistake {
	for n, line := range strings.Split(string(text), "\n") {
		var quote byte
		for i := 0; i < len(line); i++ {
			c := line[i]
			switch {
			case quote == 0 && c == '#':
				i = len(line)
			case quote == 0 && (c == '"' || c == '\''):
				quote = c
			case quote == c:
				quote = 0
			case quote == '"' && c == '\\' && i+2 < len(line):
				if line[i+1] == 'x' && strings.IndexByte("89abcdefABCDEF", line[i+2]) >= 0 {
					return &mistake{nil, fmt.Sprintf(`line %d: \x%c… in double quotes would become two bytes; write it in single quotes, '\x%c…', or as <0x%c…>`, n+1, line[i+2], line[i+2], line[i+2])}
				}
				i++
			}
		}
	}
	return nil
}
