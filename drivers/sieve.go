package drivers

// sieve is what is done to every byte before all else: 'seven_bits' and 'drop'
// of a driver file.
type sieve struct {
	mask byte
	drop [256]bool
}

// pass gives the bytes that remain, in the decoder's own memory.
func (s *sieve) pass(d *Decoder, chunk []byte) []byte {
	d.sieved = d.sieved[:0]
	for _, c := range chunk {
		if c &= s.mask; !s.drop[c] {
			d.sieved = append(d.sieved, c)
		}
	}
	return d.sieved
}

// sieve compiles it.
func (c *compiler) sieve() error {
	list, err := stringsOf(c.f.Drop)
	if err != nil {
		return wrongAt([]any{"drop"}, "%v", err)
	}
	if len(list) == 0 && !c.f.SevenBits {
		return nil
	}
	s := &sieve{mask: 0xFF}
	if c.f.SevenBits {
		s.mask = 0x7F
	}
	for _, text := range list {
		b, err := parseBytes(text)
		if err != nil {
			return wrongAt([]any{"drop"}, "= %v", err)
		}
		for _, x := range b {
			s.drop[x] = true
		}
	}
	c.d.sieve = s
	return nil
}
