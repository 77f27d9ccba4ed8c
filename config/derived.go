package config

import (
	"fmt"
	"sort"
	"strings"

	"thouwright/internal/form"
	"thouwright/internal/method"
	"thouwright/internal/rules"
)

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
			expr, err := rules.CompileDerived(ch.Value)
			if err != nil {
				f.add(at, "%s: %v", checkName(j, i, k), err)
				continue
			}
			for _, r := range expr.Inputs() {
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
func (f *finder) reference(at []any, who string, r rules.Input, in, other *Check) {
	if in.Limits != nil && in.Limits.Unit.IsLength() {
		if kinds := kindsOf(other.Method); kinds != nil && !kinds[in.Limits.Unit.Kind()] {
			f.add(at, "%s%s is measured by %s, which is no length, but the limits are %s: write a value of lengths", who, r.ID, other.Method, in.Limits)
			return
		}
	}
	positions := other.Positions
	if len(positions) == 0 {
		positions = []string{""}
	}
	if contains(positions, r.Position) {
		return
	}
	switch {
	case r.Position == "":
		f.add(at, "%s%s is measured at %s: say which, such as %s[%q]", who, r.ID, quoted(positions), r.ID, positions[0])
	case positions[0] == "":
		f.add(at, "%s%s has no positions: write %s alone", who, r.ID, r.ID)
	default:
		hint := ""
		if w := form.Likely(r.Position, positions); w != "" {
			hint = fmt.Sprintf("; did you mean %q?", w)
		}
		f.add(at, "%s%s has no position %q: it is measured at %s%s", who, r.ID, r.Position, quoted(positions), hint)
	}
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
