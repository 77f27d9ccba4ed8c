package drivers

import "math/bits"

// check is how a frame proves itself: [check] of a driver file.
type check struct {
	kind      *checkKind
	text      checkText
	lowFirst  bool // of two bytes, the low one first
	withStart bool // the start bytes count
	withEnd   bool // the end bytes count (only where the check stands behind them)
	afterEnd  bool
	skip      int // bytes left out at the front
	wrong     wrongWay
}

type checkText uint8

const (
	asRaw checkText = iota
	asHex
	asDecimal
)

type wrongWay uint8

const (
	wrongGarbled wrongWay = iota
	wrongDrop
	wrongKeep
)

// checkKind is one way to sum up bytes. Check values over "123456789" of the
// CRC kinds are those of the published catalogue of parametrised CRC
// algorithms; the tests hold them.
type checkKind struct {
	name string
	wide bool // two bytes
	sum  func(b []byte) uint16
}

func sum8(b []byte) (s uint16) {
	for _, c := range b {
		s += uint16(c)
	}
	return s & 0xFF
}

func xor8(b []byte) (s uint16) {
	for _, c := range b {
		s ^= uint16(c)
	}
	return s
}

// crc8 is a CRC of 8 bits, most significant bit first.
func crc8(poly, init, out byte) func([]byte) uint16 {
	return func(b []byte) uint16 {
		c := init
		for _, x := range b {
			c ^= x
			for k := 0; k < 8; k++ {
				if c&0x80 != 0 {
					c = c<<1 ^ poly
				} else {
					c <<= 1
				}
			}
		}
		return uint16(c ^ out)
	}
}

// crc8low is a CRC of 8 bits, least significant bit first; poly is reflected.
func crc8low(poly, init byte) func([]byte) uint16 {
	return func(b []byte) uint16 {
		c := init
		for _, x := range b {
			c ^= x
			for k := 0; k < 8; k++ {
				if c&1 != 0 {
					c = c>>1 ^ poly
				} else {
					c >>= 1
				}
			}
		}
		return uint16(c)
	}
}

// crc16 is a CRC of 16 bits, most significant bit first.
func crc16(poly, init, out uint16) func([]byte) uint16 {
	return func(b []byte) uint16 {
		c := init
		for _, x := range b {
			c ^= uint16(x) << 8
			for k := 0; k < 8; k++ {
				if c&0x8000 != 0 {
					c = c<<1 ^ poly
				} else {
					c <<= 1
				}
			}
		}
		return c ^ out
	}
}

// crc16low is a CRC of 16 bits, least significant bit first; poly is reflected.
func crc16low(poly, init, out uint16) func([]byte) uint16 {
	return func(b []byte) uint16 {
		c := init
		for _, x := range b {
			c ^= uint16(x)
			for k := 0; k < 8; k++ {
				if c&1 != 0 {
					c = c>>1 ^ poly
				} else {
					c >>= 1
				}
			}
		}
		return c ^ out
	}
}

func not8(f func([]byte) uint16) func([]byte) uint16 {
	return func(b []byte) uint16 { return ^f(b) & 0xFF }
}

func neg8(f func([]byte) uint16) func([]byte) uint16 {
	return func(b []byte) uint16 { return -f(b) & 0xFF }
}

func sum16(b []byte) (s uint16) {
	for _, c := range b {
		s += uint16(c)
	}
	return s
}

var checkKinds = []checkKind{
	{"sum", false, sum8},
	{"sum-7bit", false, func(b []byte) uint16 { return sum8(b) & 0x7F }},
	{"sum-complement", false, not8(sum8)},
	{"sum-negative", false, neg8(sum8)},
	{"sum16", true, sum16},
	{"sum16-complement", true, func(b []byte) uint16 { return ^sum16(b) }},
	{"sum16-negative", true, func(b []byte) uint16 { return -sum16(b) }},
	{"xor", false, xor8},
	{"xor-complement", false, not8(xor8)},
	{"crc8", false, crc8(0x07, 0x00, 0x00)},
	{"crc8-itu", false, crc8(0x07, 0x00, 0x55)},
	{"crc8-maxim", false, crc8low(0x8C, 0x00)},
	{"crc8-rohc", false, crc8low(0xE0, 0xFF)},
	{"crc8-sae", false, crc8(0x1D, 0xFF, 0xFF)},
	{"crc16-modbus", true, crc16low(0xA001, 0xFFFF, 0x0000)},
	{"crc16-arc", true, crc16low(0xA001, 0x0000, 0x0000)},
	{"crc16-usb", true, crc16low(0xA001, 0xFFFF, 0xFFFF)},
	{"crc16-ccitt", true, crc16(0x1021, 0xFFFF, 0x0000)},
	{"crc16-xmodem", true, crc16(0x1021, 0x0000, 0x0000)},
	{"crc16-genibus", true, crc16(0x1021, 0xFFFF, 0xFFFF)},
	{"crc16-kermit", true, crc16low(0x8408, 0x0000, 0x0000)},
	{"crc16-x25", true, crc16low(0x8408, 0xFFFF, 0xFFFF)},
	{"crc16-mcrf4xx", true, crc16low(0x8408, 0xFFFF, 0x0000)},
	{"crc16-dnp", true, crc16low(0xA6BC, 0x0000, 0xFFFF)},
}

// width is how many bytes the check takes in the stream; decimal text takes
// as many digits as there are.
func (c *check) width() int {
	n := 1
	if c.kind.wide {
		n = 2
	}
	switch c.text {
	case asHex:
		return 2 * n
	case asDecimal:
		return 2*n + 1
	}
	return n
}

// covered are the bytes the check is taken over: b up to, not with, position
// to. data is where the frame's data begins behind its start bytes.
func (c *check) covered(b []byte, data, to int) []byte {
	from := data
	if c.withStart {
		from = 0
	}
	from = min(from+c.skip, to)
	return b[from:to]
}

// verify compares the check bytes at i with those of what stands before. end
// is -1 where there are none.
func (c *check) verify(b []byte, data, i int) (end int, right bool) {
	return c.compare(b, i, c.kind.sum(c.covered(b, data, i)))
}

func (c *check) compare(b []byte, i int, want uint16) (end int, right bool) {
	var got uint16
	switch c.text {
	case asDecimal:
		v, e := smallInt(b[:min(len(b), i+c.width())], i)
		if e == i {
			return -1, false
		}
		return e, v == uint64(want)
	case asHex:
		w := c.width()
		if len(b)-i < w {
			return -1, false
		}
		for k := 0; k < w; k++ {
			h, ok := hexDigit(b[i+k])
			if !ok {
				return -1, false
			}
			got = got<<4 | uint16(h)
		}
		end = i + w
	default:
		w := c.width()
		if len(b)-i < w {
			return -1, false
		}
		for k := 0; k < w; k++ {
			got = got<<8 | uint16(b[i+k])
		}
		end = i + w
	}
	if c.kind.wide && c.lowFirst {
		got = bits.ReverseBytes16(got)
	}
	return end, got == want
}

// appendTo writes the check bytes as the gauge would: for polls.
func (c *check) appendTo(dst []byte, sum uint16) []byte {
	if c.kind.wide && c.lowFirst {
		sum = bits.ReverseBytes16(sum)
	}
	const hex = "0123456789ABCDEF"
	switch c.text {
	case asRaw:
		if c.kind.wide {
			dst = append(dst, byte(sum>>8))
		}
		return append(dst, byte(sum))
	case asHex:
		if c.kind.wide {
			dst = append(dst, hex[sum>>12], hex[sum>>8&15])
		}
		return append(dst, hex[sum>>4&15], hex[sum&15])
	}
	w := c.width()
	for k := 0; k < w; k++ {
		dst = append(dst, '0')
	}
	for k := len(dst) - 1; sum > 0; k-- {
		dst[k] = byte('0' + sum%10)
		sum /= 10
	}
	return dst
}
