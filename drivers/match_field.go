package drivers

// value matches a number, or a fault word in its place.
func (d *Decoder) value(o *op, b []byte, i int) int {
	if o.n > 0 {
		if len(b)-i < o.n {
			return -1
		}
		sub := b[i : i+o.n]
		if e := d.valueIn(o.num, sub, 0); e < 0 || skipBlanks(sub, e) != len(sub) {
			return -1
		}
		c := &d.caps[len(d.caps)-1]
		c.from, c.to, c.lead = i, i+o.n, o.lead
		return i + o.n
	}
	e := d.valueIn(o.num, b, i)
	if e >= 0 {
		d.caps[len(d.caps)-1].lead = o.lead
	}
	return e
}

// captured keeps a value as the next of the pattern's.
func (d *Decoder) captured(c capture) {
	c.kind, c.at = opValue, d.place
	d.place++
	d.caps = append(d.caps, c)
}

// valueIn matches a number or a fault word, whichever is longer: "{blanks}" as a
// word for no signal must not take the blanks before a number. A word that is as
// long as the number is meant: 9999 for over.
func (d *Decoder) valueIn(n *number, b []byte, i int) int {
	if len(d.caps) == cap(d.caps) {
		return -1
	}
	v, step, e := n.parse(d, b, i)
	if n.faults != nil {
		if m, end := d.faultWord(n, b, i); end >= e && end >= 0 {
			d.captured(capture{from: i, to: end, m: m})
			return end
		}
	}
	if e >= 0 {
		d.captured(capture{from: i, to: e, v: v, step: step})
	}
	return e
}

func (d *Decoder) faultWord(n *number, b []byte, i int) (m *meaning, e int) {
	if m, e = n.faults.find(d, b, i); e < 0 {
		j := skipBlanks(b, i)
		if j == i {
			return nil, -1
		}
		if m, e = n.faults.find(d, b, j); e < 0 {
			return nil, -1
		}
	}
	// 9999 as a word for 'over' must not take the first digits of 99990
	if e < len(b) && isDigit(b[e-1]) && (isDigit(b[e]) || b[e] == '.' || b[e] == ',' && n.comma) {
		return nil, -1
	}
	return m, e
}

func isDigit(c byte) bool { return c-'0' <= 9 }

// field matches a unit, channel, status, note, sign or places.
func (d *Decoder) field(o *op, b []byte, i int) int {
	if len(d.caps) == cap(d.caps) {
		return -1
	}
	c := capture{kind: o.kind, lead: o.lead && !o.last, at: d.place}
	if o.lead && o.last {
		c.after = true
	}
	limit := len(b)
	if o.n > 0 {
		if limit = i + o.n; limit > len(b) {
			return -1
		}
	}
	end := limit
	c.from = i
	if o.words != nil {
		// a word may begin with blanks; otherwise blanks before it are skipped
		m, e := o.words.find(d, b[:limit], i)
		if e < 0 {
			c.from = skipBlanks(b[:limit], i)
			if c.from == limit && o.n > 0 && o.kind == opNote { // a field of fixed width that holds none
				return limit
			}
			if m, e = o.words.find(d, b[:limit], c.from); e < 0 {
				return -1
			}
		}
		if o.n > 0 && skipBlanks(b[:limit], e) != limit {
			return -1
		}
		c.m, c.to = m, e
		c.v.Scale = m.places
		if o.n == 0 {
			end = e
		}
	} else {
		c.from = skipBlanks(b[:limit], i)
		if o.n > 0 {
			c.to = limit
			for c.to > c.from && isBlank(b[c.to-1]) {
				c.to--
			}
		} else {
			for end = c.from; end < len(b) && inField(o.kind, b[end]) && (o.stop == 0 || b[end] != o.stop); end++ {
			}
			c.to = end
			d.left -= end - c.from
		}
		if c.to == c.from && o.kind != opNote {
			return -1
		}
		if o.kind == opPlaces {
			n, e := smallInt(b[:c.to], c.from)
			if e != c.to || n > 18 {
				return -1
			}
			c.v.Scale = int8(n)
		}
	}
	d.caps = append(d.caps, c)
	return end
}

// inField tells the bytes of a free field that has neither table nor width.
func inField(k opKind, c byte) bool {
	switch k {
	case opPlaces:
		return isDigit(c)
	case opChannel:
		return isDigit(c) || lower(c) >= 'a' && lower(c) <= 'z' || c == '_'
	}
	return c > ' '
}
