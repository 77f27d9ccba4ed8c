package drivers

import (
	"fmt"
	"testing"
)

// Check values of the CRC catalogue over the nine bytes "123456789", from
// memory of the published catalogue of parametrised CRC algorithms (names there:
// CRC-8/SMBUS, /I-432-1, /MAXIM-DOW, /ROHC, /SAE-J1850; CRC-16/MODBUS, /ARC,
// /USB, /IBM-3740, /XMODEM, /GENIBUS, /KERMIT, /IBM-SDLC, /MCRF4XX, /DNP). The
// sums are worked by hand: 0x31+…+0x39 = 0x1DD, XOR 0x31.
var checkValues = map[string]uint16{
	"sum": 0xDD, "sum-7bit": 0x5D, "sum-complement": 0x22, "sum-negative": 0x23,
	"sum16": 0x01DD, "sum16-complement": 0xFE22, "sum16-negative": 0xFE23,
	"xor": 0x31, "xor-complement": 0xCE,
	"crc8": 0xF4, "crc8-itu": 0xA1, "crc8-maxim": 0xA1, "crc8-rohc": 0xD0, "crc8-sae": 0x4B,
	"crc16-modbus": 0x4B37, "crc16-arc": 0xBB3D, "crc16-usb": 0xB4C8, "crc16-ccitt": 0x29B1,
	"crc16-xmodem": 0x31C3, "crc16-genibus": 0xD64E, "crc16-kermit": 0x2189, "crc16-x25": 0x906E,
	"crc16-mcrf4xx": 0x6F91, "crc16-dnp": 0xEA82,
}

func TestCheckValues(t *testing.T) {
	for i := range checkKinds {
		k := &checkKinds[i]
		want, ok := checkValues[k.name]
		if !ok {
			t.Errorf("%s has no published value here", k.name)
		}
		if got := k.sum([]byte("123456789")); got != want {
			t.Errorf("%s: %#04x, published %#04x", k.name, got, want)
		}
	}
}

// Every kind, in every way of writing it, is found in a stream and refuses a
// changed digit, whether the check bytes happen to be line ends or not.
func TestCheckedStreams(t *testing.T) {
	for _, place := range []string{"inside", "after"} {
		for i := range checkKinds {
			for _, as := range []string{"raw", "hex", "nibbles", "decimal"} {
				for _, low := range []bool{false, true} {
					if as == "decimal" && (place == "after" || low) || low && !checkKinds[i].wide {
						continue
					}
					text := fmt.Sprintf("pattern = '{value}[{unit}]%s'\n[frame]\nend = '<CR>'\n[check]\nkind = %q\nas = %q\nlow_first = %v\nafter_end = %v\n",
						map[string]string{"inside": "{check}", "after": ""}[place], checkKinds[i].name, as, low, place == "after")
					if as == "decimal" { // digits behind a number need something between
						text = fmt.Sprintf("pattern = '{value}[{unit}],{check}'\n[frame]\nend = '<CR>'\n[check]\nkind = %q\nas = %q\n", checkKinds[i].name, as)
					}
					checkedStream(t, mustParse(t, text), place == "after")
				}
			}
		}
	}
}

func checkedStream(t *testing.T, d *Driver, after bool) {
	var stream []byte
	var want []string
	for n := 0; n < 300; n++ {
		data := fmt.Sprintf("%+.3f mm", float64(n*37-4000)/1000)
		if d.check.text == asDecimal {
			data += ","
		}
		sum := d.check.kind.sum([]byte(data))
		frame := append([]byte(nil), data...)
		if after {
			frame = d.check.appendTo(append(frame, '\r'), sum)
		} else {
			frame = append(d.check.appendTo(frame, sum), '\r')
		}
		show := fmt.Sprintf("%.3f mm", float64(n*37-4000)/1000)
		if n%7 == 3 {
			frame[2] ^= 1 // a digit changed on the way: 1 and 0, 2 and 3 …
			show = "garbled"
		}
		stream = append(stream, frame...)
		want = append(want, show)
	}
	for _, cut := range []int{len(stream), 1} {
		var got []string
		dec := d.NewDecoder()
		for i := 0; i < len(stream); i += cut {
			dec.Feed(stream[i:min(i+cut, len(stream))], 0, func(v *Value) { got = append(got, d.Show(v)) })
		}
		if show(got) != show(want) {
			for i := range min(len(got), len(want)) {
				if got[i] != want[i] {
					t.Fatalf("%s\nreading %d is %s, expected %s (%d and %d readings)", d.Text, i, got[i], want[i], len(got), len(want))
				}
			}
			t.Fatalf("%s\n%d readings, expected %d", d.Text, len(got), len(want))
		}
	}
}
