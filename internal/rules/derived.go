package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/parser"
)

// Input names a measured value: id["position"], or id alone where the check has
// no positions.
type Input struct{ ID, Position string }

func (i Input) String() string {
	if i.Position == "" {
		return i.ID
	}
	return fmt.Sprintf("%s[%q]", i.ID, i.Position)
}

// Expr is the value of a derived check. It does not change and may be used by
// many goroutines.
type Expr struct {
	text   string
	inputs []Input
	smooth bool
	eval   func(v []float64) float64
}

// The functions of a derived value, as package config checks them.
var functions = map[string]struct {
	least, most int
	smooth      bool
	f           func(v []float64) float64
}{
	"min":  {1, maxArgs, false, func(v []float64) float64 { return fold(v, math.Min) }},
	"max":  {1, maxArgs, false, func(v []float64) float64 { return fold(v, math.Max) }},
	"abs":  {1, 1, false, func(v []float64) float64 { return math.Abs(v[0]) }},
	"mean": {1, maxArgs, true, mean},
	"sum":  {1, maxArgs, true, sum},
}

const maxArgs = 64

const functionList = "min, max, abs, mean, sum"

func fold(v []float64, f func(a, b float64) float64) float64 {
	r := v[0]
	for _, x := range v[1:] {
		r = f(r, x)
	}
	return r
}

func sum(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s
}

func mean(v []float64) float64 { return sum(v) / float64(len(v)) }

// CompileDerived prepares the value of a derived check, such as
// 'bush["upper"] - pin["upper"]'.
func CompileDerived(text string) (*Expr, error) {
	if strings.TrimSpace(text) == "" {
		return nil, fmt.Errorf("no value; expected one such as 'bush[\"upper\"] - pin[\"upper\"]'")
	}
	c := conf.CreateNew()
	c.MaxNodes = maxNodes
	for name := range c.Builtins { // our own functions stand in their place
		c.Disabled[name] = true
	}
	tree, err := parser.ParseWithConfig(text, c)
	if err != nil {
		return nil, fmt.Errorf("value %q: %s", text, oneLine(err))
	}
	e := &Expr{text: text, smooth: true}
	e.eval, err = e.compile(tree.Node)
	if err != nil {
		return nil, fmt.Errorf("value %q: %w", text, err)
	}
	if len(e.inputs) == 0 {
		return nil, fmt.Errorf("value %q: it uses no measured value; expected one such as 'bush[\"upper\"] - pin[\"upper\"]'", text)
	}
	for _, in := range e.inputs {
		for _, other := range e.inputs {
			if in.ID == other.ID && (in.Position == "") != (other.Position == "") {
				return nil, fmt.Errorf("value %q: %s is used with and without a position", text, in.ID)
			}
		}
	}
	return e, nil
}

// compile turns the tree into a function; anything but arithmetic is refused.
func (e *Expr) compile(n ast.Node) (func([]float64) float64, error) {
	switch n := n.(type) {
	case *ast.IntegerNode:
		x := float64(n.Value)
		return func([]float64) float64 { return x }, nil
	case *ast.FloatNode:
		x := n.Value
		return func([]float64) float64 { return x }, nil
	case *ast.IdentifierNode:
		return e.input(Input{n.Value, ""}), nil
	case *ast.MemberNode:
		id, ok := n.Node.(*ast.IdentifierNode)
		pos, ok2 := n.Property.(*ast.StringNode)
		if !ok || !ok2 || n.Method || n.Optional {
			return nil, fmt.Errorf("expected a check's id and a position in quotes, such as bush[\"upper\"], found %s", n)
		}
		if pos.Value == "" {
			return nil, fmt.Errorf("%s[\"\"]: an empty position; write %s alone where the check has no positions", id.Value, id.Value)
		}
		return e.input(Input{id.Value, pos.Value}), nil
	case *ast.UnaryNode:
		f, err := e.compile(n.Node)
		if err != nil {
			return nil, err
		}
		switch n.Operator {
		case "-":
			return func(v []float64) float64 { return -f(v) }, nil
		case "+":
			return f, nil
		}
		return nil, fmt.Errorf("%q has no place in a value; use + - * / and %s", n.Operator, functionList)
	case *ast.BinaryNode:
		return e.binary(n)
	case *ast.CallNode:
		if id, ok := n.Callee.(*ast.IdentifierNode); ok {
			return e.call(id.Value, n.Arguments)
		}
	case *ast.BuiltinNode: // sum is a word of the library's own grammar
		return e.call(n.Name, n.Arguments)
	case *ast.PredicateNode: // and its second argument
		return e.compile(n.Node)
	}
	return nil, fmt.Errorf("found %s; expected numbers, values such as bush[\"upper\"], + - * / and %s", n, functionList)
}

func (e *Expr) input(in Input) func([]float64) float64 {
	for i, have := range e.inputs {
		if have == in {
			return func(v []float64) float64 { return v[i] }
		}
	}
	i := len(e.inputs)
	e.inputs = append(e.inputs, in)
	return func(v []float64) float64 { return v[i] }
}

func (e *Expr) binary(n *ast.BinaryNode) (func([]float64) float64, error) {
	a, err := e.compile(n.Left)
	if err != nil {
		return nil, err
	}
	b, err := e.compile(n.Right)
	if err != nil {
		return nil, err
	}
	switch n.Operator {
	case "+":
		return func(v []float64) float64 { return a(v) + b(v) }, nil
	case "-":
		return func(v []float64) float64 { return a(v) - b(v) }, nil
	case "*":
		return func(v []float64) float64 { return a(v) * b(v) }, nil
	case "/":
		return func(v []float64) float64 { return a(v) / b(v) }, nil
	}
	return nil, fmt.Errorf("%q has no place in a value; use + - * / and %s", n.Operator, functionList)
}

func (e *Expr) call(name string, args []ast.Node) (func([]float64) float64, error) {
	f, ok := functions[name]
	if !ok {
		return nil, fmt.Errorf("unknown function %q; expected one of %s", name, functionList)
	}
	if len(args) == 1 { // mean([a, b]) is the same as mean(a, b)
		if list, ok := args[0].(*ast.ArrayNode); ok {
			args = list.Nodes
		}
	}
	if len(args) < f.least || len(args) > f.most {
		return nil, fmt.Errorf("%s takes %s, found %d", name, count(f.least, f.most), len(args))
	}
	fs := make([]func([]float64) float64, len(args))
	for i, a := range args {
		var err error
		if fs[i], err = e.compile(a); err != nil {
			return nil, err
		}
	}
	e.smooth = e.smooth && f.smooth
	if len(fs) == 1 {
		return func(v []float64) float64 { return f.f([]float64{fs[0](v)}) }, nil
	}
	return func(v []float64) float64 {
		var room [8]float64
		x := room[:0]
		for _, g := range fs {
			x = append(x, g(v))
		}
		return f.f(x)
	}, nil
}

func count(least, most int) string {
	switch {
	case least == most && least == 1:
		return "one value"
	case least == most:
		return fmt.Sprintf("%d values", least)
	}
	return fmt.Sprintf("%d or more values", least)
}

// String is the expression as written.
func (e *Expr) String() string { return e.text }

// Inputs are the values it needs, each once, in the order of Eval's argument.
func (e *Expr) Inputs() []Input { return append([]Input(nil), e.inputs...) }

// Smooth tells whether first-order propagation holds: false where it uses min,
// max or abs.
func (e *Expr) Smooth() bool { return e.smooth }

// Slope is how much the value changes with an input (units of the value per unit of the
// input) where that is the same whatever the inputs are, as of a sum or a difference;
// linear is false where it is not, or where the value does not use the input.
func (e *Expr) Slope(in Input) (slope float64, linear bool) {
	i := slices.Index(e.inputs, in)
	if i < 0 || !e.smooth {
		return 0, false
	}
	v := make([]float64, len(e.inputs))
	for k, at := range [...]float64{1, 3, 7.5} {
		for j := range v {
			v[j] = math.Pow(at, 1/float64(j+1)) // neither a difference nor a ratio of two stays
		}
		from := e.eval(v)
		v[i] += at
		s := (e.eval(v) - from) / at
		if k > 0 && !(math.Abs(s-slope) <= 1e-9*math.Abs(slope)) { // or no number
			return 0, false
		}
		slope = s
	}
	return slope, !math.IsInf(slope, 0)
}

// Eval is the value for the inputs' values, which must all be in one unit.
func (e *Expr) Eval(values []float64) (float64, error) {
	if len(values) != len(e.inputs) {
		return 0, fmt.Errorf("value %q needs %d inputs, found %d", e.text, len(e.inputs), len(values))
	}
	v := e.eval(values)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("value %q is not a number for %v", e.text, values)
	}
	return v, nil
}
