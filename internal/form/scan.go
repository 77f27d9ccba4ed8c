package form

import (
	"strings"
	"unicode/utf8"
)

// The bounds of a file a person writes. They lie far above any bench or job,
// and keep a hostile file from eating memory or stack before it is refused:
// the TOML library recurses per bracket and copies whole paths per key.
const (
	MaxBytes = 1 << 20
	maxDepth = 12 // keys in a path and brackets in a value, together
	maxKey   = 100
)

// node is a place in the file: where a key, table or element stands.
type node struct {
	line  int
	from  int // of a key: where its value begins and ends
	to    int
	tail  int // of a table: behind its header or its last value
	kids  map[string]*node
	items []*node
}

func (n *node) kid(key string, line int) *node {
	k := n.kids[key]
	if k == nil {
		k = &node{line: line}
		if n.kids == nil {
			n.kids = map[string]*node{}
		}
		n.kids[key] = k
	}
	return k
}

// last is the node that further keys of a header go to: the newest element of
// a repeated table, or the table itself.
func (n *node) last() *node {
	if len(n.items) > 0 {
		return n.items[len(n.items)-1]
	}
	return n
}

// scanner walks TOML only to learn on which line everything stands. What is
// right and wrong in TOML is the library's to say; where the scanner meets
// something irregular it stops, and the library is shown nothing beyond it.
type scanner struct {
	s    string
	pos  int
	line int
	deep string // set when a bound is broken
}

// irregular ends a scan.
type irregular struct{}

// scan returns the places in text. stop is the offset behind which nothing
// was looked at, len(text) where all was; bound says which bound was broken at
// the line, or is empty.
func scan(text string) (root *node, stop int, bound string, line int) {
	root = &node{}
	sc := &scanner{s: text, line: 1}
	defer func() {
		stop, bound, line = sc.pos, sc.deep, sc.line
		if r := recover(); r != nil {
			if _, ok := r.(irregular); !ok {
				panic(r)
			}
		}
	}()
	table := root
	for sc.blank(true); sc.pos < len(text); sc.blank(true) {
		if sc.peek() == '[' {
			table = sc.header(root)
		} else {
			sc.assignment(table, 0)
		}
		sc.endOfLine()
	}
	return
}

func (sc *scanner) fail(bound string) {
	sc.deep = bound
	panic(irregular{})
}

func (sc *scanner) peek() byte {
	if sc.pos < len(sc.s) {
		return sc.s[sc.pos]
	}
	return 0
}

func (sc *scanner) want(c byte) {
	if sc.peek() != c || sc.pos >= len(sc.s) {
		sc.fail("")
	}
	sc.pos++
}

// blank skips blanks; over lines also line ends and comments.
func (sc *scanner) blank(lines bool) {
	for sc.pos < len(sc.s) {
		switch c := sc.s[sc.pos]; {
		case c == ' ' || c == '\t':
			sc.pos++
		case lines && c == '\n':
			sc.line++
			sc.pos++
		case lines && c == '\r':
			sc.pos++
		case lines && c == '#':
			sc.comment()
		default:
			return
		}
	}
}

func (sc *scanner) comment() {
	if i := strings.IndexByte(sc.s[sc.pos:], '\n'); i >= 0 {
		sc.pos += i
	} else {
		sc.pos = len(sc.s)
	}
}

func (sc *scanner) endOfLine() {
	sc.blank(false)
	if sc.peek() == '#' {
		sc.comment()
	}
	if sc.peek() == '\r' {
		sc.pos++
	}
	if sc.pos < len(sc.s) && sc.s[sc.pos] != '\n' {
		sc.fail("")
	}
}

// header reads [a.b] or [[a.b]] and returns the table it opens.
func (sc *scanner) header(root *node) *node {
	sc.want('[')
	repeated := sc.peek() == '['
	if repeated {
		sc.pos++
	}
	line := sc.line
	keys := sc.keys(0)
	at := root
	for i, k := range keys {
		at = at.kid(k, line)
		if repeated && i == len(keys)-1 {
			at.items = append(at.items, &node{line: line})
		}
		at = at.last()
	}
	sc.want(']')
	if repeated {
		sc.want(']')
	}
	at.line, at.tail = line, sc.pos
	return at
}

// assignment reads key = value into table.
func (sc *scanner) assignment(table *node, depth int) {
	line := sc.line
	keys := sc.keys(depth)
	at := table
	for _, k := range keys {
		at = at.kid(k, line)
	}
	sc.want('=')
	sc.blank(false)
	at.from = sc.pos
	sc.value(at, depth+len(keys))
	at.to = sc.pos
	table.tail = sc.pos
}

// keys reads a dotted key and the blanks around it.
func (sc *scanner) keys(depth int) (keys []string) {
	for {
		sc.blank(false)
		var k string
		switch c := sc.peek(); c {
		case '"', '\'':
			k = sc.str(c)
		default:
			start := sc.pos
			for sc.pos < len(sc.s) && bareKey(sc.s[sc.pos]) {
				sc.pos++
			}
			k = sc.s[start:sc.pos]
			if k == "" {
				sc.fail("")
			}
		}
		if len(k) > maxKey {
			sc.fail("a key is longer than 100 bytes: no key of this file is")
		}
		if keys = append(keys, k); depth+len(keys) > maxDepth {
			sc.fail("keys and brackets are nested more than 12 deep: nothing in this file is")
		}
		sc.blank(false)
		if sc.peek() != '.' {
			return keys
		}
		sc.pos++
	}
}

func bareKey(c byte) bool {
	return c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '_' || c == '-'
}

// value reads one value and the places inside it.
func (sc *scanner) value(at *node, depth int) {
	if depth > maxDepth {
		sc.fail("keys and brackets are nested more than 12 deep: nothing in this file is")
	}
	switch c := sc.peek(); c {
	case '"', '\'':
		sc.str(c)
	case '[':
		sc.pos++
		for {
			sc.blank(true)
			if sc.peek() == ']' {
				break
			}
			item := &node{line: sc.line}
			at.items = append(at.items, item)
			sc.value(item, depth+1)
			sc.blank(true)
			if sc.peek() != ',' {
				break
			}
			sc.pos++
		}
		sc.want(']')
	case '{':
		sc.pos++
		for {
			sc.blank(true)
			if sc.peek() == '}' {
				break
			}
			sc.assignment(at, depth+1)
			sc.blank(true)
			if sc.peek() != ',' {
				break
			}
			sc.pos++
		}
		sc.want('}')
	default: // a number, date or word: up to what can end one
		start := sc.pos
		for sc.pos < len(sc.s) && !strings.ContainsRune(",]}#\n\r[{\"'=", rune(sc.s[sc.pos])) {
			sc.pos++
		}
		if sc.pos == start {
			sc.fail("")
		}
		for sc.s[sc.pos-1] == ' ' || sc.s[sc.pos-1] == '\t' {
			sc.pos-- // a date may hold a blank, but none stands at its end
		}
	}
}

// str reads a string of quotes q, plain or over several lines, and returns
// what stands between them; escapes are only kept apart, not resolved, except
// in keys where they do not matter to a line.
func (sc *scanner) str(q byte) string {
	triple := strings.Repeat(string(q), 3)
	if strings.HasPrefix(sc.s[sc.pos:], triple) {
		sc.pos += 3
		for sc.pos < len(sc.s) {
			switch c := sc.s[sc.pos]; {
			case c == '\n':
				sc.line++
			case c == '\\' && q == '"':
				sc.pos++
				if sc.peek() == '\n' {
					sc.line++
				}
			case strings.HasPrefix(sc.s[sc.pos:], triple):
				sc.pos += 3
				for i := 0; i < 2 && sc.peek() == q; i++ { // """" and """"" end in quotes of the text
					sc.pos++
				}
				return ""
			}
			sc.pos++
		}
		sc.pos = len(sc.s)
		sc.fail("")
	}
	start := sc.pos + 1
	for sc.pos++; sc.pos < len(sc.s); sc.pos++ {
		switch c := sc.s[sc.pos]; {
		case c == '\n':
			sc.fail("")
		case c == '\\' && q == '"':
			sc.pos++
			if sc.peek() == '\n' {
				sc.fail("")
			}
		case c == q:
			sc.pos++
			return sc.s[start : sc.pos-1]
		}
	}
	sc.pos = len(sc.s)
	sc.fail("")
	return ""
}

// upToLine is the offset behind the line that holds offset pos.
func upToLine(s string, pos int) int {
	if pos >= len(s) {
		return len(s)
	}
	if i := strings.IndexByte(s[pos:], '\n'); i >= 0 {
		return pos + i + 1
	}
	return len(s)
}

// badByte finds the first byte that is not UTF-8, or -1.
func badByte(s string) int {
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return -1
}
