package port

// Codes of linux/input-event-codes.h, the kernel's published interface.
const (
	evSyn      = 0
	evKey      = 1
	synReport  = 0
	synDropped = 3

	keyEnter      = 28
	keyLeftShift  = 42
	keyRightShift = 54
	keyPadEnter   = 96
)

// cancel (ASCII CAN) stands for keys that were lost. No driver takes it, so the
// line it falls into is never half a reading.
const cancel = 0x18

// typed is what a key types, without and with shift, on the layout that
// keyboards send without being told otherwise (US). The number pad types digits
// whatever the state of Num Lock: a gauge has none.
var typed = func() (m [128][2]byte) {
	row := func(first int, plain, shifted string) {
		for i := range len(plain) {
			m[first+i] = [2]byte{plain[i], shifted[i]}
		}
	}
	row(1, "\x1b1234567890-=\b\t", "\x1b!@#$%^&*()_+\b\t")
	row(16, "qwertyuiop[]\r", "QWERTYUIOP{}\r")
	row(30, "asdfghjkl;'`", `ASDFGHJKL:"~`)
	row(43, `\zxcvbnm,./`, "|ZXCVBNM<>?")
	row(55, "*", "*")
	row(57, " ", " ")
	row(71, "789-456+1230.", "789-456+1230.")
	row(keyPadEnter, "\r", "\r")
	row(98, "/", "/")
	row(117, "=", "=")
	row(121, ",", ",")
	return m
}()
