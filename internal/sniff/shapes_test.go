package sniff

import (
	"fmt"
	"math/rand/v2"
)

// shapes are what gauges of the built-in shapes send, message by message; the
// check bytes are worked out here and not by the drivers.
var shapes = map[string]func(*rand.Rand) string{
	"signed-decimal":  func(r *rand.Rand) string { return fmt.Sprintf("%+08.3f\r\n", val(r)) },
	"channel-decimal": func(r *rand.Rand) string { return fmt.Sprintf("%02d %+.3f\r\n", 1+r.IntN(4), val(r)) },
	"several-values":  func(r *rand.Rand) string { return fmt.Sprintf("%+.3f,%+.3f,%+.3f\r", val(r), val(r), val(r)) },
	"named-values":    func(r *rand.Rand) string { return fmt.Sprintf("X=%.3f Y=%.3f\r\n", val(r), val(r)) },
	"trailing-sign": func(r *rand.Rand) string {
		v, s := val(r), "+"
		if v < 0 {
			v, s = -v, "-"
		}
		return fmt.Sprintf("%8.3f%s\r\n", v, s)
	},
	"sign-letter": func(r *rand.Rand) string {
		v, s := val(r), "P"
		if v < 0 {
			v, s = -v, "N"
		}
		return fmt.Sprintf("%s%08.3f\r", s, v)
	},
	"exponent-decimal": func(r *rand.Rand) string { return fmt.Sprintf("%+.4E N\r\n", val(r)) },
	"inch-fractions":   func(r *rand.Rand) string { return fmt.Sprintf("%d %d/64\"\r\n", r.IntN(5), 1+2*r.IntN(31)) },
	"framed":           func(r *rand.Rand) string { return fmt.Sprintf("\x02%+.3f mm\x03", val(r)) },
	"framed-xor": func(r *rand.Rand) string {
		s := fmt.Sprintf("%+.3f mm\x03", val(r))
		return "\x02" + s + string([]byte{xor(s)})
	},
	"line-sum-hex": func(r *rand.Rand) string {
		s := fmt.Sprintf("%+.3f", val(r))
		n := 0
		for i := range s {
			n += int(s[i])
		}
		return fmt.Sprintf("%s%02X\r\n", s, n%256)
	},
	"line-xor-hex": func(r *rand.Rand) string {
		s := fmt.Sprintf("%+.3f mm", val(r))
		return fmt.Sprintf("$%s*%02X\r\n", s, xor(s))
	},
	"line-crc16-hex": func(r *rand.Rand) string {
		s := fmt.Sprintf("%+.3f mm ", val(r))
		return fmt.Sprintf("%s%04X\r\n", s, ccitt(s))
	},
	"fixed-width": func(r *rand.Rand) string { return fmt.Sprintf("%+08.2fmm", val(r)) },
	"idle-gap":    func(r *rand.Rand) string { return fmt.Sprintf("%+.3f mm", val(r)) },
	"status-first": func(r *rand.Rand) string {
		return fmt.Sprintf("%s %.2f kg\r\n", []string{"STABLE", "MOVING"}[r.IntN(2)], val(r)+60)
	},
	"worded-decimal": func(r *rand.Rand) string {
		if r.IntN(3) == 0 {
			return []string{"OL\r\n", "----\r\n", "ERR 12\r\n"}[r.IntN(3)]
		}
		return fmt.Sprintf("%+.3f mm\r\n", val(r))
	},
	"flagged-decimal": func(r *rand.Rand) string {
		return fmt.Sprintf("%s %+.3f mm\r\n", []string{"MAX", "MIN", "TIR"}[r.IntN(3)], val(r))
	},
	"tolerance-mark": func(r *rand.Rand) string {
		return fmt.Sprintf("%+.3f mm %s\r\n", val(r), []string{"OK", "NG", "LO", "HI"}[r.IntN(4)])
	},
	"unit-lines": func(r *rand.Rand) string {
		if r.IntN(4) == 0 {
			return "MM\r\n"
		}
		return fmt.Sprintf("%+.3f\r\n", val(r))
	},
	"unit-digit": func(r *rand.Rand) string { return fmt.Sprintf("%+09.3f,%d\r\n", val(r), r.IntN(2)) },
}

func val(r *rand.Rand) float64 { return float64(r.IntN(100001)-50000) / 1000 }

func xor(s string) (x byte) {
	for i := range s {
		x ^= s[i]
	}
	return x
}

// ccitt is CRC-16 with polynomial 0x1021 and start 0xFFFF, by long division.
func ccitt(s string) uint16 {
	c := uint32(0xFFFF)
	for i := range s {
		c ^= uint32(s[i]) << 8
		for range 8 {
			if c <<= 1; c&0x10000 != 0 {
				c ^= 0x11021
			}
		}
	}
	return uint16(c)
}
