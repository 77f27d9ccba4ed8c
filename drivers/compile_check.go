package drivers

// checkBytes compiles [check].
func (c *compiler) checkBytes() error {
	f := c.f.Check
	if f == nil {
		return nil
	}
	k := &check{lowFirst: f.LowFirst, withStart: f.WithStart, withEnd: f.WithEnd, afterEnd: f.AfterEnd, skip: f.Skip}
	var names []string
	for i := range checkKinds {
		names = append(names, checkKinds[i].name)
		if checkKinds[i].name == f.Kind {
			k.kind = &checkKinds[i]
		}
	}
	if k.kind == nil {
		return wrongAt([]any{"check", "kind"}, "= %q%s; expected one of %s", f.Kind, didYouMean(f.Kind, names), listOf(names))
	}
	if err := c.checkParameters(k, f); err != nil {
		return err
	}
	switch f.As {
	case "raw", "":
	case "hex":
		k.text = asHex
	case "decimal":
		k.text = asDecimal
	case "digit":
		k.text = asDigit
	case "nibbles":
		k.text = asNibbles
	default:
		return wrongAt([]any{"check", "as"}, "= %q; expected raw (bytes), hex, digit, nibbles or decimal (text)", f.As)
	}
	switch f.Wrong {
	case "garbled", "":
	case "drop":
		k.wrong = wrongDrop
	case "keep":
		k.wrong = wrongKeep
	default:
		return wrongAt([]any{"check", "wrong"}, "= %q; expected garbled, drop or keep", f.Wrong)
	}
	if f.Skip < 0 || f.Skip > 64 {
		return wrongAt([]any{"check", "skip"}, "= %d; expected 0 to 64 bytes", f.Skip)
	}
	if k.lowFirst && (!k.kind.wide || k.text == asDecimal || k.text == asDigit) {
		return wrongAt([]any{"check", "low_first"}, "is for two check bytes (or their hex), of which one must come first; leave it out")
	}
	if k.text == asDecimal && k.afterEnd {
		return wrongAt([]any{"check", "as"}, `= "decimal" together with after_end: decimal text has no fixed width; use hex or raw, or let the end bytes stand after the check`)
	}
	if k.withEnd && !k.afterEnd {
		return wrongAt([]any{"check", "with_end"}, "= true needs after_end = true: the end bytes can count only where the check stands behind them")
	}
	c.check1, c.d.check = k, k
	return nil
}

// checkParameters overrides those of the kind.
func (c *compiler) checkParameters(k *check, f *formCheck) error {
	kind := *k.kind
	for _, p := range []struct {
		key string
		v   *int64
		to  *uint16
	}{{"poly", f.Poly, &kind.poly}, {"init", f.Init, &kind.init}, {"out", f.Out, &kind.out}} {
		if p.v == nil {
			continue
		}
		most := int64(0xFF)
		if kind.wide {
			most = 0xFFFF
		}
		if *p.v < 0 || *p.v > most {
			return wrongAt([]any{"check", p.key}, "= %d; expected 0 to 0x%X for %s", *p.v, most, kind.name)
		}
		if p.key == "poly" && kind.how != howCRC {
			return wrongAt([]any{"check", p.key}, "is for CRC kinds only, not for %s", kind.name)
		}
		*p.to = uint16(*p.v)
	}
	if f.Reflected != nil {
		kind.reflected = *f.Reflected
	}
	for _, p := range []struct {
		key string
		v   int64
		to  *uint16
	}{{"mask", f.Mask, &kind.mask}, {"modulo", f.Modulo, &kind.modulo}, {"add", f.Add, &kind.add}} {
		most := int64(0xFF)
		if kind.wide {
			most = 0xFFFF
		}
		if p.v < 0 || p.v > most {
			return wrongAt([]any{"check", p.key}, "= %d; expected 0 to 0x%X for %s", p.v, most, kind.name)
		}
		if p.v > 0 {
			*p.to = uint16(p.v)
		}
	}
	k.kind = &kind
	return nil
}
