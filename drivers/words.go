package drivers

import (
	"sort"
	"strings"

	"thouwright/internal/ledger"
	"thouwright/internal/quantity"
)

// meaning is what a word in the stream stands for.
type meaning struct {
	unit   quantity.Unit
	fault  ledger.Fault
	neg    bool   // of a sign word
	text   []byte // of a note or a channel name
	places int8   // of a word for a count of decimals
	drop   bool   // a status that makes the reading not count
}

// words is a table of words. Plain ones are found by their first byte, the
// longest first; those with fields in them ("Err{digits}") are tried after.
type words struct {
	fold  bool
	from  [257]uint16
	plain []word
	made  []word
}

type word struct {
	text []byte
	ops  []op // of a word with fields
	meaning
}

func newWords(list []word, fold bool) *words {
	w := &words{fold: fold}
	for _, one := range list {
		if one.ops != nil {
			w.made = append(w.made, one)
			continue
		}
		w.plain = append(w.plain, one)
		if c := one.text[0]; fold && lower(c) != upper(c) {
			one.text = append([]byte{flip(c)}, one.text[1:]...)
			w.plain = append(w.plain, one)
		}
	}
	sort.SliceStable(w.plain, func(i, j int) bool {
		a, b := w.plain[i].text, w.plain[j].text
		if a[0] != b[0] {
			return a[0] < b[0]
		}
		return len(a) > len(b)
	})
	k := 0
	for c := 0; c < 256; c++ {
		w.from[c] = uint16(k)
		for k < len(w.plain) && int(w.plain[k].text[0]) == c {
			k++
		}
	}
	w.from[256] = uint16(k)
	return w
}

// find is the longest word that b holds at i.
func (w *words) find(d *Decoder, b []byte, i int) (m *meaning, end int) {
	end = -1
	if i < len(b) {
		c := b[i]
		for k := w.from[c]; k < w.from[int(c)+1]; k++ {
			if p := &w.plain[k]; hasAt(b, i, p.text, w.fold) {
				m, end = &p.meaning, i+len(p.text)
				break
			}
		}
	}
	for k := range w.made {
		p := &w.made[k]
		if e := d.match(p.ops, b, i); e > end && e > i {
			m, end = &p.meaning, e
		}
	}
	return m, end
}

func hasAt(b []byte, i int, text []byte, fold bool) bool {
	if len(b)-i < len(text) {
		return false
	}
	if !fold {
		return string(b[i:i+len(text)]) == string(text)
	}
	for k, c := range text {
		if lower(b[i+k]) != lower(c) {
			return false
		}
	}
	return true
}

func lower(c byte) byte {
	if c >= 'A' && c <= 'Z' {
		return c + 32
	}
	return c
}

func upper(c byte) byte {
	if c >= 'a' && c <= 'z' {
		return c - 32
	}
	return c
}

func flip(c byte) byte {
	if l := lower(c); l != c {
		return l
	}
	return upper(c)
}

// knownUnits is the table of {unit} where a file lists none: every unit of the
// trade by symbol and word, in the usual case and all in capitals or small
// letters where that names no other unit. Latin-1 micro and degree signs are
// what many instruments send.
var knownUnits = func() *words {
	taken := map[string]quantity.Unit{}
	for _, u := range quantity.Units() {
		for _, w := range u.Words() {
			taken[w] = u
		}
	}
	spelled := map[string]quantity.Unit{}
	add := func(s string, u quantity.Unit) {
		if was, ok := taken[s]; ok && was != u {
			return
		}
		if was, ok := spelled[s]; !ok || was == u {
			spelled[s] = u
		}
	}
	for w, u := range taken {
		spelled[w] = u
	}
	for _, u := range quantity.Units() {
		for _, w := range u.Words() {
			add(strings.ToLower(w), u)
			add(strings.ToUpper(w), u)
		}
	}
	spelled["\xB5m"], spelled["\xB0"] = quantity.UM, quantity.Deg
	list := make([]word, 0, len(spelled))
	for s, u := range spelled {
		list = append(list, word{text: []byte(s), meaning: meaning{unit: u}})
	}
	return newWords(list, false)
}()
