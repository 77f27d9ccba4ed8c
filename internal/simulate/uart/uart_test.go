package uart

import (
	"bytes"
	"testing"

	"pgregory.net/rapid"

	"thouwright/internal/port"
)

func settings(t testing.TB, s string) port.Settings {
	t.Helper()
	v, err := port.ParseSettings(s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

var all = []string{"8N1", "8N2", "8E1", "8E2", "8O1", "8O2", "7N1", "7N2", "7E1", "7E2", "7O1", "7O2"}

// At equal settings every byte arrives, without an error flag, whatever the
// pause between bytes.
func TestEqualSettingsLoseNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		frame := rapid.SampledFrom(all).Draw(t, "frame")
		baud := rapid.SampledFrom([]string{"1200", "9600", "57600", "115200"}).Draw(t, "baud")
		s, err := port.ParseSettings(baud + " " + frame)
		if err != nil {
			t.Fatal(err)
		}
		data := rapid.SliceOfN(rapid.Byte(), 0, 40).Draw(t, "data")
		for i := range data {
			data[i] &= byte(1<<s.DataBits - 1)
		}
		got := Receiver{s, rapid.Bool().Draw(t, "eager")}.Receive(Send(s, data, rapid.IntRange(0, 5).Draw(t, "pause")))
		if len(got) != len(data) {
			t.Fatalf("%d of %d arrived", len(got), len(data))
		}
		for i, c := range got {
			if c.Byte != data[i] || c.Framing || c.Parity || c.Break {
				t.Fatalf("byte %d: %+v of %#x", i, c, data[i])
			}
		}
	})
}

// Worked by hand from the order of bits on the wire.
func TestKnownMisreadings(t *testing.T) {
	for _, c := range []struct{ name, from, to, sent, heard string }{
		// '1' is 0x31: 7 bits 1000110 sent low first, even parity of three ones is 1
		{"even parity lies in the eighth bit", "9600 7E1", "9600 8N1", "12", "\xb1\xb2"},
		{"odd parity too", "9600 7O1", "9600 8N1", "12", "12"},
		{"a second stop bit reads as the eighth", "9600 7N2", "9600 8N1", "0", "\xb0"},
		{"a second stop bit is idle time", "9600 8N2", "9600 8N1", "+1.5\r", "+1.5\r"},
		{"right parity, read with the wrong one, is NUL", "9600 8E1", "9600 8O1", "123", "\x00\x00\x00"},
		{"half the speed: every bit twice; the eighth is the fourth's first half", "4800 8N1", "9600 8N1", "\x55", "\x66\xE6"},
	} {
		from, to := settings(t, c.from), settings(t, c.to)
		got := Heard(from, to, []byte(c.sent), false)
		if string(got) != c.heard {
			t.Errorf("%s: %q heard as %q, expected %q", c.name, c.sent, got, c.heard)
		}
	}
}

// Different speeds do not let a line through by accident.
func TestWrongSpeedGarbles(t *testing.T) {
	line := []byte("+0001.2345 mm\r\n")
	for _, from := range []string{"1200", "2400", "4800", "9600", "19200", "38400", "57600", "115200"} {
		for _, to := range []string{"1200", "2400", "4800", "9600", "19200", "38400", "57600", "115200"} {
			got := Heard(settings(t, from+" 8N1"), settings(t, to+" 8N1"), line, true)
			if same := bytes.Equal(got, line); same != (from == to) {
				t.Errorf("%s heard at %s: %q", from, to, got)
			}
		}
	}
}
