package port

// Key codes, from linux/input-event-codes.h (the kernel's published interface).
const (
	keyEnter    = 28
	keyPadEnter = 96
)
