package drivers

import "time"

// framing compiles [frame].
func (c *compiler) framing() (err error) {
	f, to := &c.f.Frame, &c.d.frame
	at := func(k string) []any { return []any{"frame", k} }
	if to.start, err = parseBytes(f.Start); err != nil {
		return wrongAt(at("start"), "= %v", err)
	}
	if w, ok := bareName(f.Start); ok {
		return wrongAt(at("start"), "= %q is the letters themselves; write %s for the control character", f.Start, w)
	}
	ends, err := stringsOf(f.End)
	if err != nil {
		return wrongAt(at("end"), "%v", err)
	}
	for _, s := range ends {
		b, err := parseBytes(s)
		if err != nil {
			return wrongAt(at("end"), "= %v", err)
		}
		if w, ok := bareName(s); ok {
			return wrongAt(at("end"), "= %q is the letters themselves; write %s for the control characters", s, w)
		}
		if len(b) == 0 || len(b) > 16 {
			return wrongAt(at("end"), "= %q; expected 1 to 16 bytes, such as <CR>", s)
		}
		to.ends = append(to.ends, b)
	}
	if len(to.start) > 16 {
		return wrongAt(at("start"), "is %d bytes long; expected at most 16", len(to.start))
	}
	var idle time.Duration
	if err := c.duration(at("idle"), f.Idle, &idle); err != nil {
		return err
	}
	to.idle = idle.Microseconds()
	if f.Max < 0 || f.Max > mostMax {
		return wrongAt(at("max"), "= %d; expected the longest frame in bytes, 1 to %d", f.Max, mostMax)
	}
	if to.max = f.Max; to.max == 0 {
		to.max = defaultMax
	}
	if f.Length < 0 || f.Length > mostMax {
		return wrongAt(at("length"), "= %d; expected the length of a whole frame in bytes, 1 to %d", f.Length, mostMax)
	}
	to.length = f.Length
	if err := c.counted(f, to); err != nil {
		return err
	}
	if to.length > 0 && len(to.ends) > 0 {
		return wrongAt(at("length"), `together with end: say one of them (a line end inside a frame of fixed length can stand in the pattern)`)
	}
	if to.length > 0 && to.length <= len(to.start) {
		return wrongAt(at("length"), "= %d; expected more than the %d start bytes, which count", to.length, len(to.start))
	}
	if to.idle > 0 && len(to.ends) > 0 {
		return wrongAt(at("idle"), `together with end: say one of them`)
	}
	if to.length == 0 && to.countAt == 0 && to.idle == 0 && len(to.ends) == 0 {
		to.ends = [][]byte{{'\r'}, {'\n'}}
	}
	if k := c.check1; k != nil {
		if k.afterEnd {
			if len(to.ends) == 0 {
				return wrongAt([]any{"check", "after_end"}, "= true needs end bytes in [frame]")
			}
			to.tail = k.width()
		} else if k.text == asRaw && len(to.ends) > 0 {
			to.rawCheck = k.width()
		}
	}
	c.soleEnds()
	return nil
}

// soleEnds finds out whether frames are ended by single bytes only. <CR><LF>
// beside <CR> and <LF> adds nothing: a frame without a byte in it is no frame.
func (c *compiler) soleEnds() {
	to := &c.d.frame
	one := map[byte]bool{}
	for _, e := range to.ends {
		if len(e) == 1 {
			one[e[0]] = true
		}
	}
	var kept [][]byte
	for _, e := range to.ends {
		all := true
		for _, b := range e {
			all = all && one[b]
		}
		if len(e) == 1 || !all {
			kept = append(kept, e)
		}
	}
	to.ends = kept
	to.single = len(kept) > 0
	for _, e := range kept {
		if len(e) > 1 {
			to.single = false
		} else {
			to.class[e[0]] = true
		}
	}
}
