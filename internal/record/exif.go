package record

import (
	"bytes"
	"encoding/binary"
)

// Tags of Exif 2.32: how the camera was held, and where what it says of the
// place lies.
const (
	exifOrientation = 0x0112
	exifPlace       = 0x8825
)

// orientation finds how a JPEG's camera was held, 1 where it does not say.
func orientation(b []byte) int {
	if o, ok := exif(b, exifOrientation); ok {
		return o
	}
	return 1
}

// TellsPlace tells whether a JPEG says where it was taken. The documents show
// it without that; a bundle packs it as it is.
func TellsPlace(jpeg []byte) bool {
	_, ok := exif(jpeg, exifPlace)
	return ok
}

// exif finds a tag of a JPEG's first directory; ok is false where it is not
// there. The value is right for short numbers only.
func exif(b []byte, tag uint16) (value int, ok bool) {
	if len(b) < 4 || b[0] != 0xff || b[1] != 0xd8 {
		return 0, false
	}
	for i := 2; i+4 <= len(b) && b[i] == 0xff; {
		n := int(binary.BigEndian.Uint16(b[i+2:]))
		if b[i+1] == 0xda || n < 2 || i+2+n > len(b) {
			return 0, false
		}
		if body := b[i+4 : i+2+n]; b[i+1] == 0xe1 && bytes.HasPrefix(body, []byte("Exif\x00\x00")) {
			return tiffTag(body[6:], tag)
		}
		i += 2 + n
	}
	return 0, false
}

func tiffTag(b []byte, tag uint16) (value int, ok bool) {
	if len(b) < 8 {
		return 0, false
	}
	var order binary.ByteOrder = binary.BigEndian
	if b[0] == 'I' {
		order = binary.LittleEndian
	}
	at := int(order.Uint32(b[4:]))
	if at < 8 || at+2 > len(b) {
		return 0, false
	}
	n := int(order.Uint16(b[at:]))
	for at += 2; n > 0 && at+12 <= len(b); at, n = at+12, n-1 {
		if order.Uint16(b[at:]) == tag {
			return int(order.Uint16(b[at+8:])), true
		}
	}
	return 0, false
}
