package drivers

import (
	"math/bits"
	"strconv"
)

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
	asNibbles // every four bits as the byte 0x30 + value: 0-9 : ; < = > ?
	asDigit   // the low four bits as one hex digit
)

type wrongWay uint8

const (
	wrongGarbled wrongWay = iota
	wrongDrop
	wrongKeep
)

// checkKind is one way to sum up bytes: a plain sum, an XOR, or a CRC by its
// published parameters. Every one of the parameters can be overridden in a
// driver file, so that a kind nobody listed can be told as well.
type checkKind struct {
	name      string
	wide      bool // two bytes
	how       checkHow
	poly      uint16 // of a CRC, as written: most significant bit first
	init      uint16
	out       uint16 // what the result is XORed with; ^0 is the complement
	reflected bool   // a CRC taken least significant bit first
	negative  bool   // the two's complement: all bytes and the check sum up to 0
	mask      uint16 // bits that are sent; 0 is all
	modulo    uint16 // what is sent is the rest of a division by it; 0 is all
	add       uint16 // added at the end, to make a printable character of it
}

type checkHow uint8

const (
	howSum checkHow = iota
	howXOR
	howCRC
)

// sum is the check of b.
func (k *checkKind) sum(b []byte) uint16 {
	s := k.init
	switch k.how {
	case howSum:
		for _, c := range b {
			s += uint16(c)
		}
		if k.negative {
			s = -s
		}
	case howXOR:
		for _, c := range b {
			s ^= uint16(c)
		}
	default:
		s = k.crc(b)
	}
	s ^= k.out
	if !k.wide {
		s &= 0xFF
	}
	if k.mask != 0 {
		s &= k.mask
	}
	if k.modulo != 0 {
		s %= k.modulo
	}
	return s + k.add
}

// crc goes bit by bit: a frame is a few bytes long and comes a few times a
// second, so a table would be more code than it is worth.
func (k *checkKind) crc(b []byte) uint16 {
	width := 8
	if k.wide {
		width = 16
	}
	c, poly := k.init, k.poly
	if k.reflected {
		shift := 16 - width
		poly, c = bits.Reverse16(poly)>>shift, bits.Reverse16(c)>>shift
		for _, x := range b {
			c ^= uint16(x)
			for n := 0; n < 8; n++ {
				if c&1 != 0 {
					c = c>>1 ^ poly
				} else {
					c >>= 1
				}
			}
		}
		return c
	}
	top := uint16(1) << (width - 1)
	for _, x := range b {
		c ^= uint16(x) << (width - 8)
		for n := 0; n < 8; n++ {
			if c&top != 0 {
				c = c<<1 ^ poly
			} else {
				c <<= 1
			}
		}
	}
	return c
}

// checkKinds are the kinds by name. The parameters of the CRCs are those of the
// published catalogue of parametrised CRC algorithms (G. Cook); its check
// values over "123456789" are what the tests compare with.
var checkKinds = []checkKind{
	{name: "sum"},
	{name: "sum-7bit", mask: 0x7F},
	{name: "sum-complement", out: 0xFFFF},
	{name: "sum-negative", negative: true},
	{name: "sum16", wide: true},
	{name: "sum16-complement", wide: true, out: 0xFFFF},
	{name: "sum16-negative", wide: true, negative: true},
	{name: "xor", how: howXOR},
	{name: "xor-complement", how: howXOR, out: 0xFF},
	{name: "crc8", how: howCRC, poly: 0x07},
	{name: "crc8-itu", how: howCRC, poly: 0x07, out: 0x55},
	{name: "crc8-maxim", how: howCRC, poly: 0x31, reflected: true},
	{name: "crc8-rohc", how: howCRC, poly: 0x07, init: 0xFF, reflected: true},
	{name: "crc8-sae", how: howCRC, poly: 0x1D, init: 0xFF, out: 0xFF},
	{name: "crc16-modbus", how: howCRC, wide: true, poly: 0x8005, init: 0xFFFF, reflected: true},
	{name: "crc16-arc", how: howCRC, wide: true, poly: 0x8005, reflected: true},
	{name: "crc16-usb", how: howCRC, wide: true, poly: 0x8005, init: 0xFFFF, out: 0xFFFF, reflected: true},
	{name: "crc16-ccitt", how: howCRC, wide: true, poly: 0x1021, init: 0xFFFF},
	{name: "crc16-xmodem", how: howCRC, wide: true, poly: 0x1021},
	{name: "crc16-genibus", how: howCRC, wide: true, poly: 0x1021, init: 0xFFFF, out: 0xFFFF},
	{name: "crc16-kermit", how: howCRC, wide: true, poly: 0x1021, reflected: true},
	{name: "crc16-x25", how: howCRC, wide: true, poly: 0x1021, init: 0xFFFF, out: 0xFFFF, reflected: true},
	{name: "crc16-mcrf4xx", how: howCRC, wide: true, poly: 0x1021, init: 0xFFFF, reflected: true},
	{name: "crc16-dnp", how: howCRC, wide: true, poly: 0x3D65, out: 0xFFFF, reflected: true},
}

// width is how many bytes the check takes in the stream; decimal text takes
// as many digits as there are.
func (c *check) width() int {
	n := 1
	if c.kind.wide {
		n = 2
	}
	switch c.text {
	case asDigit:
		return 1
	case asHex, asNibbles:
		return 2 * n
	case asDecimal:
		if c.kind.modulo > 0 {
			return len(strconv.Itoa(int(c.kind.modulo) - 1))
		}
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

// compare compares the check bytes at i with want. end is -1 where there are
// none.
func (c *check) compare(b []byte, i int, want uint16) (end int, right bool) {
	var got uint16
	switch c.text {
	case asDecimal:
		v, e := smallInt(b[:min(len(b), i+c.width())], i)
		if e == i {
			return -1, false
		}
		return e, v == uint64(want)
	case asDigit:
		if i >= len(b) {
			return -1, false
		}
		h, ok := hexDigit(b[i])
		if !ok {
			return -1, false
		}
		return i + 1, uint16(h) == want&15
	case asHex, asNibbles:
		w := c.width()
		if len(b)-i < w {
			return -1, false
		}
		for k := 0; k < w; k++ {
			h, ok := hexDigit(b[i+k])
			if c.text == asNibbles {
				h, ok = b[i+k]-0x30, b[i+k]-0x30 < 16
			}
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
	hex := "0123456789ABCDEF"
	if c.text == asNibbles {
		hex = "0123456789:;<=>?"
	}
	switch c.text {
	case asRaw:
		if c.kind.wide {
			dst = append(dst, byte(sum>>8))
		}
		return append(dst, byte(sum))
	case asDigit:
		return append(dst, hex[sum&15])
	case asHex, asNibbles:
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
