package form

import (
	"encoding"
	"fmt"
	"math"
	"reflect"
	"sort"
	"strings"
	"time"
	"unicode"

	"thouwright/internal/ledger"
)

// binder fills structs from decoded TOML and gathers what does not fit.
type binder struct {
	file     string
	root     any
	problems []ledger.Problem
}

// maxText is the longest text a key may hold; maxProblems ends a hopeless file.
const (
	maxText     = 4000
	maxProblems = 100
)

func (b *binder) add(line int, where, format string, a ...any) {
	if len(b.problems) >= maxProblems {
		return
	}
	text := fmt.Sprintf(format, a...)
	if where != "" {
		text = where + ": " + text
	}
	b.problems = append(b.problems, ledger.Problem{File: b.file, Line: line, Text: text})
}

// table binds the whole file.
func (b *binder) table(m map[string]any, n *node, v any) {
	b.structure(m, n, reflect.ValueOf(v).Elem(), "")
	sort.SliceStable(b.problems, func(i, j int) bool { return b.problems[i].Line < b.problems[j].Line })
}

// fields lists a struct's keys.
func fields(t reflect.Type) (keys []string, index map[string]int) {
	index = map[string]int{}
	for i := 0; i < t.NumField(); i++ {
		key, _, _ := strings.Cut(t.Field(i).Tag.Get("toml"), ",")
		if key == "" || key == "-" {
			continue
		}
		keys = append(keys, key)
		index[key] = i
	}
	return keys, index
}

func (b *binder) structure(m map[string]any, n *node, v reflect.Value, where string) {
	keys, index := fields(v.Type())
	for _, key := range sortedKeys(m) {
		kn := n.kids[key]
		if kn == nil {
			kn = &node{line: n.line}
		}
		i, known := index[key]
		if len(b.problems) >= maxProblems {
			return
		}
		if !known {
			b.add(kn.line, where, "%s", b.unknown(key, keys, where))
			continue
		}
		b.value(m[key], kn, v.Field(i), where, key)
	}
}

// unknown is the line for a key that does not exist here.
func (b *binder) unknown(key string, keys []string, where string) string {
	found := fmt.Sprintf("unknown key %q", key)
	if len(key) > 40 {
		found = fmt.Sprintf("unknown key %q", clip(key, 40))
	}
	root := reflect.TypeOf(b.root).Elem()
	if _, top := fields(root); where != "" && has(top, key) {
		return found + " here: it belongs at the top of the file, before the first [table]"
	}
	if w := Likely(key, keys); w != "" {
		return fmt.Sprintf("%s: did you mean %q?", found, w)
	}
	if place := placeOf(root, key); place != "" {
		return fmt.Sprintf("%s here: it belongs in %s", found, place)
	}
	return fmt.Sprintf("%s: remove it; known here: %s", found, strings.Join(keys, ", "))
}

func has(m map[string]int, k string) bool { _, ok := m[k]; return ok }

// placeOf names the table of the file that knows a key.
func placeOf(t reflect.Type, key string) string {
	keys, index := fields(t)
	for _, k := range keys {
		ft := t.Field(index[k]).Type
		header := "[" + k + "]"
		if ft.Kind() == reflect.Slice {
			ft, header = ft.Elem(), "[["+k+"]]"
		}
		if ft.Kind() == reflect.Pointer {
			ft = ft.Elem()
		}
		if ft.Kind() != reflect.Struct || isText(ft) {
			continue
		}
		if _, in := fields(ft); has(in, key) {
			return header
		}
		if deeper := placeOf(ft, key); deeper != "" {
			name := strings.Trim(deeper, "[]")
			return strings.Replace(deeper, name, k+"."+name, 1)
		}
	}
	return ""
}

var textType = reflect.TypeOf((*encoding.TextUnmarshaler)(nil)).Elem()

func isText(t reflect.Type) bool { return reflect.PointerTo(t).Implements(textType) }

func (b *binder) value(x any, n *node, v reflect.Value, where, key string) {
	t := v.Type()
	if t.Kind() == reflect.Pointer {
		p := reflect.New(t.Elem())
		before := len(b.problems)
		b.value(x, n, p.Elem(), where, key)
		if len(b.problems) == before {
			v.Set(p)
		}
		return
	}
	if isText(t) {
		b.text(x, n, v, where, key)
		return
	}
	wrong := func(expected string) {
		b.add(n.line, where, "%s: found %s, expected %s", key, describe(x), expected)
	}
	switch t.Kind() {
	case reflect.String:
		s, ok := x.(string)
		if !ok {
			wrong(fmt.Sprintf("text in quotes: %s = \"…\"", key))
			return
		}
		if why := badText(s); why != "" {
			b.add(n.line, where, "%s: %s", key, why)
			return
		}
		v.SetString(s)
	case reflect.Bool:
		if y, ok := x.(bool); ok {
			v.SetBool(y)
			return
		}
		wrong("true or false, without quotes")
	case reflect.Int:
		if y, ok := x.(int64); ok && y >= math.MinInt32 && y <= math.MaxInt32 {
			v.SetInt(y)
			return
		}
		wrong("a whole number, without quotes")
	case reflect.Float64:
		switch y := x.(type) {
		case int64:
			v.SetFloat(float64(y))
			return
		case float64:
			if !math.IsNaN(y) && !math.IsInf(y, 0) {
				v.SetFloat(y)
				return
			}
		}
		wrong("a number, without quotes")
	case reflect.Struct:
		m, ok := x.(map[string]any)
		if !ok {
			wrong(fmt.Sprintf("a table: [%s]", key))
			return
		}
		b.structure(m, n, v, join(where, "["+key+"]"))
	case reflect.Slice:
		b.slice(x, n, v, where, key)
	case reflect.Map:
		b.mapping(x, n, v, where, key)
	default:
		panic("form: no binding for " + t.String())
	}
}

// text binds a value that reads itself from text.
func (b *binder) text(x any, n *node, v reflect.Value, where, key string) {
	u := v.Addr().Interface().(encoding.TextUnmarshaler)
	var s string
	switch y := x.(type) {
	case string:
		s = y
	case time.Time:
		s = y.Format("2006-01-02")
		if h, m, sec := y.Clock(); h+m+sec != 0 {
			s = y.Format(time.RFC3339)
		}
	default:
		b.add(n.line, where, "%s: found %s, expected text in quotes%s", key, describe(x), exampleOf(v))
		return
	}
	if why := badText(s); why != "" {
		b.add(n.line, where, "%s: %s", key, why)
		return
	}
	if err := u.UnmarshalText([]byte(s)); err != nil {
		b.add(n.line, where, "%s: %s", key, clip(err.Error(), 400))
	}
}

// exampleOf asks the type for an example of its text.
func exampleOf(v reflect.Value) string {
	if e, ok := v.Addr().Interface().(interface{ FormExample() string }); ok {
		return ", such as " + e.FormExample()
	}
	switch v.Type().Name() {
	case "Measured":
		return `, such as "18 ± 1 degC"`
	case "Quantity":
		return ` with its unit, such as "0.050 mm"`
	case "Range":
		return `, such as "0.009..0.050 mm"`
	case "Unit":
		return `, such as "mm"`
	}
	return ""
}

func (b *binder) slice(x any, n *node, v reflect.Value, where, key string) {
	elem := v.Type().Elem()
	var items []any
	switch y := x.(type) {
	case []any:
		items = y
	case []map[string]any:
		for _, m := range y {
			items = append(items, m)
		}
	default:
		if elem.Kind() == reflect.Struct && !isText(elem) {
			b.add(n.line, where, "%s: found %s, expected a repeated table: write [[…%s]] with two brackets", key, describe(x), key)
		} else {
			b.add(n.line, where, "%s: found %s, expected a list: %s = [\"…\", \"…\"]", key, describe(x), key)
		}
		return
	}
	out := reflect.MakeSlice(v.Type(), len(items), len(items))
	for i, it := range items {
		in := n
		if i < len(n.items) {
			in = n.items[i]
		}
		if elem.Kind() == reflect.Struct && !isText(elem) {
			m, ok := it.(map[string]any)
			if !ok {
				b.add(in.line, where, "%s: found %s, expected a table", key, describe(it))
				continue
			}
			b.structure(m, in, out.Index(i), join(where, b.nameOf(m, key, i)))
			continue
		}
		b.value(it, in, out.Index(i), where, fmt.Sprintf("%s, entry %d", key, i+1))
	}
	v.Set(out)
}

// nameOf says which of the repeated tables it is: by its name where it has one.
func (b *binder) nameOf(m map[string]any, key string, i int) string {
	if s, ok := m["name"].(string); ok && s != "" {
		return fmt.Sprintf("%s %q", key, clip(s, 60))
	}
	return fmt.Sprintf("%s %d", key, i+1)
}

func (b *binder) mapping(x any, n *node, v reflect.Value, where, key string) {
	m, ok := x.(map[string]any)
	if !ok {
		b.add(n.line, where, "%s: found %s, expected a table: %s = { \"…\" = … }", key, describe(x), key)
		return
	}
	out := reflect.MakeMap(v.Type())
	for _, k := range sortedKeys(m) {
		kn := n.kids[k]
		if kn == nil {
			kn = n
		}
		e := reflect.New(v.Type().Elem()).Elem()
		b.value(m[k], kn, e, join(where, key), k)
		out.SetMapIndex(reflect.ValueOf(k), e)
	}
	v.Set(out)
}

func join(where, more string) string {
	if where == "" {
		return more
	}
	return where + ", " + more
}

// badText refuses what would break a line, a row or a screen.
func badText(s string) string {
	if len(s) > maxText {
		return fmt.Sprintf("the text is %d bytes long: at most %d", len(s), maxText)
	}
	for _, r := range s {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
			return fmt.Sprintf("found the control character %U in the text: write it in one line without tabs", r)
		}
	}
	return ""
}

// describe says what was found, for people.
func describe(x any) string {
	switch y := x.(type) {
	case string:
		return fmt.Sprintf("the text %q", clip(y, 40))
	case int64:
		return fmt.Sprintf("the number %d", y)
	case float64:
		return fmt.Sprintf("the number %v", y)
	case bool:
		return fmt.Sprintf("%v", y)
	case time.Time:
		return "a date"
	case map[string]any:
		return "a table"
	case []map[string]any:
		return "a repeated table"
	case []any:
		return "a list"
	}
	return fmt.Sprintf("%T", x)
}

func sortedKeys(m map[string]any) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
