package drivers

// counted compiles the framing of messages that say themselves how long they
// are.
func (c *compiler) counted(f *formFrame, to *framing) error {
	at := func(k string) []any { return []any{"frame", k} }
	if f.CountAt == 0 {
		switch {
		case f.CountAs != "":
			return wrongAt(at("count_as"), "needs count_at: at which byte of the message the count stands")
		case f.CountPlus != 0:
			return wrongAt(at("count_plus"), "needs count_at: at which byte of the message the count stands")
		}
		return nil
	}
	switch f.CountAs {
	case "", "raw":
		to.countWidth, to.countBase = 1, 256
	case "hex":
		to.countWidth, to.countBase = 2, 16
	case "decimal":
		to.countWidth, to.countBase = 2, 10
	default:
		return wrongAt(at("count_as"), "= %q; expected raw (one byte), hex or decimal (two digits)", f.CountAs)
	}
	if len(to.start) == 0 {
		return wrongAt(at("count_at"), "needs start: without start bytes nobody can tell a count from other bytes")
	}
	if f.CountAt <= len(to.start) || f.CountAt > 64 {
		return wrongAt(at("count_at"), "= %d; expected at which byte of the message its count stands, start bytes included: %d to 64", f.CountAt, len(to.start)+1)
	}
	if to.length > 0 || len(to.ends) > 0 {
		return wrongAt(at("count_at"), "together with length or end: say one of them (end bytes behind what is counted can stand in the pattern)")
	}
	if f.CountPlus < 0 || f.CountPlus > 256 {
		return wrongAt(at("count_plus"), "= %d; expected how many bytes of the message are not counted, 0 to 256", f.CountPlus)
	}
	to.countAt, to.countPlus = f.CountAt, f.CountPlus
	return nil
}
