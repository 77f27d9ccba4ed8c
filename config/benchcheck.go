package config

import (
	"fmt"
	"net"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"thouwright/drivers"
	"thouwright/internal/form"
	"thouwright/internal/quantity"
)

// CueNames are the sounds that [sound].cues can switch on and off.
var CueNames = []string{"rest", "stroke", "left-out", "taken", "pass", "fail", "undecided", "gauge-lost", "gauge-back", "disk", "position", "step", "guide"}

// finder gathers problems of one file; at points to their places.
type finder struct {
	file  string
	torn  bool // the file could not be read whole: what is missing may be what was refused
	lines form.Lines
	ps    []Problem
}

func (f *finder) add(at []any, format string, a ...any) {
	f.ps = append(f.ps, Problem{File: f.file, Line: f.lines.At(at...), Text: fmt.Sprintf(format, a...)})
}

func (f *finder) warn(at []any, format string, a ...any) {
	f.add(at, format, a...)
	f.ps[len(f.ps)-1].Warning = true
}

// oneOf checks a word against those that are known.
func (f *finder) oneOf(at []any, where, key, found string, words ...string) bool {
	for _, w := range words {
		if w == found {
			return true
		}
	}
	hint := ""
	if w := form.Likely(found, words); w != "" {
		hint = fmt.Sprintf("; did you mean %q?", w)
	}
	f.add(at, "%s%s: found %q, expected %s%s", where, key, found, orList(words), hint)
	return false
}

func orList(words []string) string {
	q := make([]string, len(words))
	for i, w := range words {
		q[i] = strconv.Quote(w)
	}
	if len(q) == 1 {
		return q[0]
	}
	return strings.Join(q[:len(q)-1], ", ") + " or " + q[len(q)-1]
}

func path(p ...any) []any { return p }

// gaugeName becomes a tape's file name and stands before '=' on a command line.
// Its length is checked apart: as a repetition, the classes of all the world's
// letters would cost every start 4 ms and 2.6 MB.
var gaugeName = regexp.MustCompile(`^[\pL\pN][\pL\pN._-]*$`)

const longestName = 64

// missing adds a problem of something that is not there.
func (f *finder) missing(at []any, format string, a ...any) {
	if !f.torn {
		f.add(at, format, a...)
	}
}

// problems checks the bench by itself; torn tells that reading it met problems.
func (b *Bench) problems(torn bool) []Problem {
	f := &finder{file: b.File, lines: b.lines, torn: torn}
	f.oneOf(path("display_unit"), "", "display_unit", b.DisplayUnit, "mm", "um", "in", "thou")
	f.notEmpty("log_dir", b.LogDir)
	f.notEmpty("job_dir", b.JobDir)
	names := map[string]int{}
	for i := range b.Gauges {
		g := &b.Gauges[i]
		f.gauge(i, g)
		if first, twice := names[g.Name]; twice && g.Name != "" {
			f.add(path("gauge", i, "name"), "gauge %d: the name %q is taken by gauge %d (line %d): give each gauge its own", i+1, g.Name, first+1, f.lines.At("gauge", first, "name"))
			continue
		}
		names[g.Name] = i
	}
	f.sharedPorts(b.Gauges)
	f.footSwitch(b)
	f.oneOf(path("sound", "output"), "[sound], ", "output", b.Sound.Output, "auto", "pulse", "bell", "none")
	if v := b.Sound.Volume; v < 0 || v > 1 {
		f.add(path("sound", "volume"), "[sound], volume: found %v, expected 0 (silent) to 1 (loudest)", v)
	}
	for _, name := range sortedCues(b.Sound.Cues) {
		f.oneOf(path("sound", "cues", name), "[sound], ", "cues", name, CueNames...)
	}
	if _, port, err := net.SplitHostPort(b.Page.Listen); err != nil || !goodPort(port, true) {
		f.add(path("page", "listen"), "[page], listen: found %q, expected address:port, such as 127.0.0.1:8417, or 0.0.0.0:8417 for every network this computer is on", b.Page.Listen)
	}
	return f.ps
}

func (f *finder) notEmpty(key, v string) {
	if strings.TrimSpace(v) == "" {
		f.add(path(key), "%s: found nothing in quotes, expected a folder; leave the line out for the usual one", key)
	}
}

func (f *finder) gauge(i int, g *Gauge) {
	who := fmt.Sprintf("gauge %d: ", i+1)
	at := func(key string) []any { return path("gauge", i, key) }
	switch {
	case g.Name == "":
		f.missing(at("name"), "%sno name: add name = \"dial-1\" or another short name", who)
	case !gaugeName.MatchString(g.Name) || utf8.RuneCountInString(g.Name) > longestName:
		f.add(at("name"), "%sname: found %q, expected letters, digits, '.', '_' or '-' without blanks, at most 64", who, g.Name)
	default:
		who = fmt.Sprintf("gauge %q: ", g.Name)
	}
	f.port(at("port"), who, g.Port, "/dev/serial/by-id/…, tcp://HOST:PORT, rfc2217://HOST:PORT, tape:FILE or keys:/dev/input/…; 'thouwright ports' lists what is plugged in")
	if g.Driver == "" {
		f.missing(at("driver"), "%sno driver: add driver = \"signed-decimal\", or let 'thouwright sniff %s' find one", who, orWord(g.Port, "PORT"))
	}
	if g.Line != "" {
		if _, err := drivers.ParseLine(g.Line); err != nil {
			f.add(at("line"), "%sline: found %q, expected speed, data bits, parity and stop bits, such as 9600 8N1 or 4800 7E2", who, g.Line)
		}
	}
	f.gaugeNumbers(at, who, g)
	if g.Due.Past(time.Now()) {
		f.warn(at("due"), "%scalibration was due on %s: have it calibrated; takes go on and the record says so", who, g.Due)
	}
}

func orWord(s, w string) string {
	if s == "" {
		return w
	}
	return s
}

// gaugeNumbers checks a gauge's quantities by themselves and against another.
func (f *finder) gaugeNumbers(at func(string) []any, who string, g *Gauge) {
	kind := g.Unit.Kind()
	unitFrom := "its unit " + g.Unit.String()
	num := func(key string, q *quantity.Quantity, zeroOK bool) (v float64, ok bool) {
		if q == nil {
			return 0, false
		}
		if q.Unit == quantity.None && g.Unit == quantity.None {
			f.add(at(key), "%s%s: found %q, expected a unit behind the number, such as \"%s mm\"", who, key, q, q.Value)
			return 0, false
		}
		u := q.Unit
		if u == quantity.None {
			u = g.Unit
		}
		if kind == quantity.Bare {
			kind, unitFrom = u.Kind(), fmt.Sprintf("its %s in %s", key, u)
		}
		if u.Kind() != kind {
			f.add(at(key), "%s%s: found %q, but %s measures something else", who, key, q, unitFrom)
			return 0, false
		}
		v, err := quantity.Convert(q.Value.Float(), u, baseOf(kind))
		if err != nil || v < 0 || v == 0 && !zeroOK {
			least := "more than zero"
			if zeroOK {
				least = "zero or more"
			}
			f.add(at(key), "%s%s: found %q, expected %s", who, key, q, least)
			return 0, false
		}
		return v, true
	}
	step, hasStep := num("step", g.Step, false)
	// An error of nothing is a statement too: of a simulated gauge, or one whose
	// error is looked after elsewhere. Only one not given is assumed.
	whole, hasWhole := num("error", g.Error, true)
	num("hysteresis", g.Hysteresis, true)
	num("repeatability", g.Repeatability, true)
	if g.ErrorLocal != nil {
		local, ok1 := num("error_local", &g.ErrorLocal.Error, true)
		_, ok2 := num("error_local", &g.ErrorLocal.Over, false)
		if ok1 && ok2 && hasWhole && local > 2*whole*(1+1e-9) {
			f.add(at("error_local"), "%serror_local: found %s, but with error = %s two readings can't be further wrong than twice that: one of the two is mistyped", who, g.ErrorLocal.Error, g.Error)
		}
	}
	if s := g.RestSeconds; s != 0 && (s < 0.1 || s > 4) || s == 0 && f.lines.Has(at("rest_seconds")...) {
		f.add(at("rest_seconds"), "%srest_seconds: found %v, expected 0.1 to 4, such as 0.35: how long a part stands still until that is a rest", who, s)
	}
	if n := g.RestReadings; n != 0 && (n < 2 || n > 100) || n == 0 && f.lines.Has(at("rest_readings")...) {
		f.add(at("rest_readings"), "%srest_readings: found %d, expected 2 to 100, such as 3: how many readings a rest takes", who, n)
	}
	if r := g.Range; r != nil {
		u := r.Unit
		if u == quantity.None {
			u = g.Unit
		}
		switch low, high, err := r.In(baseOf(u.Kind())); {
		case !r.HasLow || !r.HasHigh:
			f.add(at("range"), "%srange: found %q, expected both ends of the travel, such as \"0..0.400 in\"", who, r)
		case u == quantity.None:
			f.add(at("range"), "%srange: found %q, expected a unit behind the numbers, such as \"%s mm\"", who, r, r)
		case kind != quantity.Bare && u.Kind() != kind:
			f.add(at("range"), "%srange: found %q, but %s measures something else", who, r, unitFrom)
		case err != nil || high <= low:
			f.add(at("range"), "%srange: found %q, expected two ends apart from each other", who, r)
		case hasStep && r.Unit != quantity.None && high-low < 10*step:
			f.add(at("range"), "%srange: found %q, less than ten steps of %s: one of the two is mistyped", who, r, g.Step)
		}
	}
}

// baseOf is the unit in which quantities of a kind are compared.
func baseOf(k quantity.Kind) quantity.Unit {
	switch k {
	case quantity.Length:
		return quantity.MM
	case quantity.Angle:
		return quantity.Deg
	case quantity.Force:
		return quantity.N
	case quantity.Torque:
		return quantity.NM
	case quantity.Mass:
		return quantity.Kg
	case quantity.Temperature:
		return quantity.DegC
	case quantity.Stress:
		return quantity.MPa
	}
	return quantity.None
}

func goodPort(s string, zero bool) bool {
	n, err := strconv.Atoi(s)
	return err == nil && n <= 65535 && (n > 0 || zero && n == 0)
}

var (
	bareUSB = regexp.MustCompile(`^/dev/tty(USB|ACM)[0-9]+$`)
	comPort = regexp.MustCompile(`^(COM[0-9]+|\\\\\.\\.+)$`)
)

// port checks that a port can be one; whether it is there, only opening tells.
func (f *finder) port(at []any, who, p, expected string) {
	scheme, rest, hasScheme := strings.Cut(p, ":")
	switch {
	case p == "":
		f.missing(at, "%sno port: add port = \"…\" with %s", who, expected)
	case strings.HasPrefix(p, "/"), comPort.MatchString(p):
		if bareUSB.MatchString(p) {
			f.warn(at, "%sport %s: the number may change at the next plugging: use its name under /dev/serial/by-id/ ('thouwright ports' shows it)", who, p)
		}
	case hasScheme && (scheme == "tcp" || scheme == "rfc2217"):
		host, port, err := net.SplitHostPort(strings.TrimPrefix(rest, "//"))
		if err != nil || host == "" || !goodPort(port, false) || !strings.HasPrefix(rest, "//") {
			f.add(at, "%sport: found %q, expected %s://HOST:PORT, such as %s://192.168.1.20:4001", who, p, scheme, scheme)
		}
	case hasScheme && (scheme == "tape" || scheme == "keys"):
		if rest == "" {
			f.add(at, "%sport: found %q, expected a file behind '%s:'", who, p, scheme)
		}
	default:
		f.add(at, "%sport: found %q, expected %s", who, p, expected)
	}
}

// sharedPorts checks gauges that hang on one port: a multiplexer.
func (f *finder) sharedPorts(gs []Gauge) {
	first := map[string]int{}
	seen := map[[2]string]int{}
	for i, g := range gs {
		if g.Port == "" {
			continue
		}
		k, shared := first[g.Port]
		if !shared {
			first[g.Port] = i
		} else {
			if g.Line != gs[k].Line {
				f.add(path("gauge", i, "line"), "gauge %q: shares its port with %q, so line must be the same: found %q and %q", g.Name, gs[k].Name, g.Line, gs[k].Line)
			}
			if g.Driver != gs[k].Driver {
				f.add(path("gauge", i, "driver"), "gauge %q: shares its port with %q, so driver must be the same: found %q and %q", g.Name, gs[k].Name, g.Driver, gs[k].Driver)
			}
		}
		id := [2]string{g.Port, g.Channel}
		if o, twice := seen[id]; twice {
			f.add(path("gauge", i, "channel"), "gauge %q: port and channel are those of %q: give each gauge on a shared port its own channel = \"…\"", g.Name, gs[o].Name)
		}
		seen[id] = i
	}
}

func (f *finder) footSwitch(b *Bench) {
	s := b.Switch
	if s == nil {
		return
	}
	if s.Port != "" {
		if s.Gauge != "" || s.Line != "" {
			f.add(path("switch", "port"), "[switch]: found port beside gauge or line, expected one of the two: a control line of a gauge's port, or a pedal's port")
		}
		if !strings.HasPrefix(s.Port, "keys:") {
			f.add(path("switch", "port"), "[switch], port: found %q, expected keys:/dev/input/…", s.Port)
		}
		return
	}
	if s.Gauge == "" {
		f.missing(path("switch"), "[switch]: expected gauge = \"…\" and line = \"CTS\", or port = \"keys:/dev/input/…\"")
		return
	}
	if b.Gauge(s.Gauge) == nil {
		f.add(path("switch", "gauge"), "[switch], %s", unknownGauge("gauge", s.Gauge, b))
	}
	f.oneOf(path("switch", "line"), "[switch], ", "line", s.Line, "CTS", "DSR", "DCD", "RI")
}

// Gauge is the gauge of that name, or nil.
func (b *Bench) Gauge(name string) *Gauge {
	for i := range b.Gauges {
		if b.Gauges[i].Name == name {
			return &b.Gauges[i]
		}
	}
	return nil
}

func (b *Bench) names() []string {
	var out []string
	for _, g := range b.Gauges {
		out = append(out, g.Name)
	}
	return out
}
