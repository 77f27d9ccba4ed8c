package config

import (
	"errors"
	"fmt"
	"sort"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"

	"thouwright/internal/form"
	"thouwright/internal/method"
)

// Ref is another check's result in a derived value: bush["upper"], or bush
// alone for the one position it has.
type Ref struct {
	ID       string
	Position string
	Bare     bool // no position was written
}

// DerivedFunctions are the functions a derived value may use.
var DerivedFunctions = []string{"min", "max", "abs", "mean", "sum"}

// References lists the results a derived value uses, each once, in the order
// of the text. A value is arithmetic of results, numbers and a few functions;
// anything else that the expression language knows is refused.
func References(value string) ([]Ref, error) {
	tree, err := parser.Parse(value)
	if err != nil {
		var fe *file.Error
		if errors.As(err, &fe) {
			return nil, fmt.Errorf("%s (at character %d of %q)", fe.Message, fe.Column+1, value)
		}
		return nil, fmt.Errorf("%q: %v", value, err)
	}
	w := refWalk{seen: map[Ref]bool{}}
	w.node(tree.Node)
	if w.err != nil {
		return nil, fmt.Errorf("%q: %w", value, w.err)
	}
	if len(w.refs) == 0 {
		return nil, fmt.Errorf("%q uses no check's result: write a check's id and position, such as pin[\"upper\"]", value)
	}
	return w.refs, nil
}

type refWalk struct {
	refs []Ref
	seen map[Ref]bool
	err  error
}

func (w *refWalk) add(r Ref) {
	if !w.seen[r] {
		w.seen[r] = true
		w.refs = append(w.refs, r)
	}
}

func (w *refWalk) node(n ast.Node) {
	if w.err != nil {
		return
	}
	switch n := n.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
	case *ast.ConstantNode:
	case *ast.IdentifierNode:
		w.add(Ref{ID: n.Value, Bare: true})
	case *ast.MemberNode:
		id, ok := n.Node.(*ast.IdentifierNode)
		pos, ok2 := n.Property.(*ast.StringNode)
		if !ok || !ok2 {
			w.err = errors.New("expected a check's id with a position in quotes, such as pin[\"upper\"]")
			return
		}
		w.add(Ref{ID: id.Value, Position: pos.Value})
	case *ast.UnaryNode:
		w.operator(n.Operator, "+", "-")
		w.node(n.Node)
	case *ast.BinaryNode:
		w.operator(n.Operator, "+", "-", "*", "/")
		w.node(n.Left)
		w.node(n.Right)
	case *ast.BuiltinNode:
		w.call(n.Name, n.Arguments)
	case *ast.CallNode:
		if id, ok := n.Callee.(*ast.IdentifierNode); ok {
			w.call(id.Value, n.Arguments)
			return
		}
		w.err = errors.New("only the functions " + strings.Join(DerivedFunctions, ", ") + " can be called")
	case *ast.ArrayNode:
		for _, e := range n.Nodes {
			w.node(e)
		}
	default:
		w.err = errors.New("expected sums, products and the functions " + strings.Join(DerivedFunctions, ", ") + " of checks' ids")
	}
}

func (w *refWalk) operator(op string, known ...string) {
	for _, k := range known {
		if op == k {
			return
		}
	}
	if w.err == nil {
		w.err = fmt.Errorf("the operator %s has no place here, expected + - * /", op)
	}
}

func (w *refWalk) call(name string, args []ast.Node) {
	for _, k := range DerivedFunctions {
		if k == name {
			for _, a := range args {
				w.node(a)
			}
			return
		}
	}
	w.err = fmt.Errorf("unknown function %s, known are %s", name, strings.Join(DerivedFunctions, ", "))
}

// derived checks what a job's derived values refer to.
func (f *finder) derived(j *Job) {
	type place struct{ component, check int }
	byID, ids := map[string]place{}, []string(nil)
	for i, c := range j.Components {
		for k, ch := range c.Checks {
			if ch.ID != "" {
				byID[ch.ID] = place{i, k}
				ids = append(ids, ch.ID)
			}
		}
	}
	sort.Strings(ids)
	uses := map[string][]string{}
	for i, c := range j.Components {
		for k, ch := range c.Checks {
			if ch.Method != method.Derived || ch.Value == "" {
				continue
			}
			at := path("component", i, "check", k, "value")
			who := checkName(j, i, k) + ": value: "
			refs, err := References(ch.Value)
			if err != nil {
				f.add(at, "%s%v", who, err)
				continue
			}
			for _, r := range refs {
				p, ok := byID[r.ID]
				if !ok {
					f.add(at, "%s%s", who, unknownID(r.ID, ids))
					continue
				}
				other := j.Components[p.component].Checks[p.check]
				if ch.ID != "" {
					uses[ch.ID] = append(uses[ch.ID], r.ID)
				}
				f.reference(at, who, r, &ch, &other)
			}
		}
	}
	for _, id := range ids {
		if circle(id, id, uses, map[string]bool{}) {
			p := byID[id]
			f.add(path("component", p.component, "check", p.check, "value"), "%s: value: it depends on itself through other derived values", checkName(j, p.component, p.check))
			return
		}
	}
}

func unknownID(id string, ids []string) string {
	if w := form.Likely(id, ids); w != "" {
		return fmt.Sprintf("no check has the id %q: did you mean %q?", id, w)
	}
	if len(ids) == 0 {
		return fmt.Sprintf("no check has the id %q: give the checks it needs an id = \"…\"", id)
	}
	return fmt.Sprintf("no check has the id %q: known are %s", id, strings.Join(ids, ", "))
}

// reference checks one use of another check's result.
func (f *finder) reference(at []any, who string, r Ref, in, other *Check) {
	positions := other.Positions
	if len(positions) == 0 {
		positions = []string{""}
	}
	if r.Bare {
		if len(positions) == 1 || sharesAll(in.Positions, positions) {
			return
		}
		f.add(at, "%s%s is measured at %s: say which, such as %s[%q]", who, r.ID, quoted(positions), r.ID, positions[0])
		return
	}
	for _, p := range positions {
		if p == r.Position {
			return
		}
	}
	hint := ""
	if w := form.Likely(r.Position, positions); w != "" {
		hint = fmt.Sprintf("; did you mean %q?", w)
	}
	f.add(at, "%s%s has no position %q: it is measured at %s%s", who, r.ID, r.Position, quoted(positions), hint)
}

// sharesAll tells whether every position of a derived check is one of the
// other check: then a bare id means the same position.
func sharesAll(mine, theirs []string) bool {
	if len(mine) == 0 {
		return false
	}
	set := map[string]bool{}
	for _, p := range theirs {
		set[p] = true
	}
	for _, p := range mine {
		if !set[p] {
			return false
		}
	}
	return true
}

func quoted(words []string) string {
	q := make([]string, len(words))
	for i, w := range words {
		q[i] = fmt.Sprintf("%q", w)
	}
	return strings.Join(q, ", ")
}

func circle(from, to string, uses map[string][]string, seen map[string]bool) bool {
	for _, u := range uses[from] {
		if u == to {
			return true
		}
		if !seen[u] {
			seen[u] = true
			if circle(u, to, uses, seen) {
				return true
			}
		}
	}
	return false
}
