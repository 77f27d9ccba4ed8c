// Package rules runs the user's own rules on top of the limits, and the
// expressions of derived checks. Verdicts are package metrology's. It is pure,
// and bounded: an expression has no loop, no I/O and a limit to its size.
package rules

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/vm"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// maxNodes bounds an expression; a line that a person wrote has a few dozen.
const maxNodes = 500

// fields are the words a rule may use: the columns of takes.csv, the check's id
// and the values in mm (NaN for what is no length). Limits that are open are
// infinite; probabilities without limits are NaN, and every comparison with NaN
// is false.
type fields struct {
	Take        int     `expr:"take"`
	Stage       string  `expr:"stage"`
	Component   string  `expr:"component"`
	Position    string  `expr:"position"`
	Check       string  `expr:"check"`
	ID          string  `expr:"id"`
	Method      string  `expr:"method"`
	Gauge       string  `expr:"gauge"`
	Unit        string  `expr:"unit"`
	Result      float64 `expr:"result"`
	U95         float64 `expr:"u95"`
	Low         float64 `expr:"low"`
	High        float64 `expr:"high"`
	ResultMM    float64 `expr:"result_mm"`
	U95MM       float64 `expr:"u95_mm"`
	LowMM       float64 `expr:"low_mm"`
	HighMM      float64 `expr:"high_mm"`
	Bound       bool    `expr:"bound"` // the result is '< result'
	Verdict     string  `expr:"verdict"`
	Side        string  `expr:"side"`
	PIn         float64 `expr:"p_in"`
	PBelow      float64 `expr:"p_below"`
	PAbove      float64 `expr:"p_above"`
	Dof         float64 `expr:"dof"`
	Confidence  float64 `expr:"confidence"`
	Strokes     int     `expr:"strokes"`
	LeftOut     int     `expr:"left_out"`
	DriftPerMin float64 `expr:"drift_per_min"`
	Replaces    int     `expr:"replaces"`
	Operator    string  `expr:"operator"`
	Sheet       int     `expr:"sheet"`
	Note        string  `expr:"note"`
}

// words are the fields that hold one of a few words; comparing them with
// another is a mistake that would otherwise stay silent.
var words = map[string][]string{
	"method":  {"play", "end-play", "run-out", "size", "drag", "derived"},
	"verdict": {string(ledger.Pass), string(ledger.Fail), string(ledger.Undecided), ""},
	"side":    {"below", "above", ""},
}

// sounds are what a rule may choose.
var sounds = map[string]bool{"": true, "pass": true, "fail": true, "undecided": true}

// Rule is one [[rule]] of a job sheet, on top of the limits.
type Rule struct {
	When  string `toml:"when" json:"when,omitempty"`
	Say   string `toml:"say" json:"say,omitempty"`
	Sound string `toml:"sound" json:"sound,omitempty"` // pass, fail, undecided; "" leaves the verdict's own
}

// Set is a job sheet's rules, compiled. It may be used by many goroutines.
type Set struct{ rules []rule }

type rule struct {
	Rule
	number  int
	program *vm.Program
}

// Hit is a rule that applies to a take.
type Hit struct {
	Rule  int    // its place in the sheet, from 1
	When  string // its condition
	Say   string // "" leaves the take's own words
	Sound string // "" leaves the verdict's own sound
}

// Compile prepares the rules. The set holds those that are sound; each mistake
// is one line that names its rule by its place in the sheet.
func Compile(rs []Rule) (*Set, []error) {
	set := &Set{}
	var errs []error
	for i, r := range rs {
		bad := func(format string, args ...any) {
			errs = append(errs, fmt.Errorf("rule %d (when = %q): %s", i+1, r.When, fmt.Sprintf(format, args...)))
		}
		if strings.TrimSpace(r.When) == "" {
			bad("no condition; expected one such as \"side == 'below'\"")
			continue
		}
		if r.Say == "" && r.Sound == "" {
			bad("it neither says nor sounds anything; add say = \"…\" or sound = \"fail\"")
			continue
		}
		if !sounds[r.Sound] {
			bad("unknown sound %q; expected pass, fail or undecided", r.Sound)
			continue
		}
		p, err := compile(r.When)
		if err != nil {
			bad("%s", oneLine(err))
			continue
		}
		set.rules = append(set.rules, rule{r, i + 1, p})
	}
	return set, errs
}

// allowed are the functions of a condition. Those that walk over lists are left
// out: nested, they would run for hours.
var allowed = []string{"abs", "min", "max", "lower", "upper"}

// compile reads a condition, refuses what could loop or can never hold, and
// compiles it.
func compile(when string) (*vm.Program, error) {
	tree, err := parser.Parse(when)
	if err != nil {
		return nil, err
	}
	check := &wordCheck{}
	ast.Walk(&tree.Node, check)
	if check.err != nil {
		return nil, check.err
	}
	o := []expr.Option{expr.Env(fields{}), expr.AsBool(), expr.WarnOnAny(), expr.MaxNodes(maxNodes), expr.DisableAllBuiltins()}
	for _, name := range allowed {
		o = append(o, expr.EnableBuiltin(name))
	}
	return expr.Compile(when, o...)
}

// wordCheck finds comparisons that can never hold, and what has no place in a
// condition.
type wordCheck struct{ err error }

func (w *wordCheck) Visit(n *ast.Node) {
	switch n := (*n).(type) {
	case *ast.BinaryNode:
		switch n.Operator {
		case "==", "!=":
			w.pair(n.Left, n.Right)
			w.pair(n.Right, n.Left)
		case "..":
			w.refuse("a range (..)")
		}
	case *ast.BuiltinNode:
		if !slices.Contains(allowed, n.Name) {
			w.refuse(n.Name)
		}
	case *ast.PredicateNode, *ast.PointerNode, *ast.VariableDeclaratorNode, *ast.SequenceNode, *ast.SliceNode, *ast.MapNode, *ast.BytesNode:
		w.refuse(fmt.Sprint(n))
	}
}

func (w *wordCheck) refuse(what string) {
	if w.err == nil {
		w.err = fmt.Errorf("%s has no place in a condition; use the take's fields, comparisons, and or not, + - * /, in, contains, matches and %s", what, strings.Join(allowed, ", "))
	}
}

func (w *wordCheck) pair(name, value ast.Node) {
	id, ok := name.(*ast.IdentifierNode)
	s, ok2 := value.(*ast.StringNode)
	list, known := words[idName(id)]
	if !ok || !ok2 || !known || w.err != nil {
		return
	}
	for _, a := range list {
		if a == s.Value {
			return
		}
	}
	w.err = fmt.Errorf("%s is never %q; expected %s", id.Value, s.Value, quoteList(list))
}

func idName(id *ast.IdentifierNode) string {
	if id == nil {
		return ""
	}
	return id.Value
}

func quoteList(list []string) string {
	q := make([]string, len(list))
	for i, s := range list {
		q[i] = "'" + s + "'"
	}
	return strings.Join(q, ", ")
}

// oneLine is a library's message without its picture of the source.
func oneLine(err error) string {
	var fe *file.Error
	if errors.As(err, &fe) {
		// It may quote a text of the condition that holds line ends itself.
		return strings.Map(func(r rune) rune {
			if unicode.IsControl(r) {
				return ' '
			}
			return r
		}, fmt.Sprintf("%s, at character %d", fe.Message, fe.Column+1))
	}
	s, _, _ := strings.Cut(err.Error(), "\n")
	return s
}

// Apply runs the rules over a take and returns those that apply, in the order
// of the sheet. A rule that fails while it runs is left out and named in the
// error; the others still apply.
func (s *Set) Apply(t *ledger.Take) ([]Hit, error) {
	if s == nil || len(s.rules) == 0 {
		return nil, nil
	}
	env := fieldsOf(t)
	var hits []Hit
	var errs []error
	for _, r := range s.rules {
		out, err := expr.Run(r.program, env)
		if err != nil {
			errs = append(errs, fmt.Errorf("rule %d (when = %q): %s", r.number, r.When, oneLine(err)))
			continue
		}
		if yes, _ := out.(bool); yes {
			hits = append(hits, Hit{r.number, r.When, r.Say, r.Sound})
		}
	}
	return hits, errors.Join(errs...)
}

func fieldsOf(t *ledger.Take) fields {
	mm := func(v float64) float64 {
		if !t.Unit.IsLength() {
			return math.NaN()
		}
		m, err := quantity.Convert(v, t.Unit, quantity.MM)
		if err != nil {
			return math.NaN()
		}
		return m
	}
	return fields{
		Take: int(t.Take), Stage: t.Tag.Stage, Component: t.Tag.Component, Position: t.Tag.Position,
		Check: t.Tag.Check, ID: t.CheckID, Method: t.Method, Gauge: t.Gauge, Unit: t.Unit.String(),
		Result: t.Result, U95: t.U95, Low: t.Low, High: t.High,
		ResultMM: mm(t.Result), U95MM: mm(t.U95), LowMM: mm(t.Low), HighMM: mm(t.High),
		Bound: t.Bound, Verdict: string(t.Verdict), Side: t.Side,
		PIn: t.PIn, PBelow: t.PBelow, PAbove: t.PAbove, Dof: t.Dof, Confidence: t.Confidence,
		Strokes: t.Strokes, LeftOut: t.LeftOut, DriftPerMin: t.DriftPerMin, Replaces: int(t.Replaces),
		Operator: t.Operator, Sheet: t.Sheet, Note: t.Note,
	}
}
