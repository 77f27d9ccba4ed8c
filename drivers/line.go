package drivers

import (
	"fmt"
	"strconv"
	"strings"
)

// LineSettings are a serial line's: "9600 8N1".
type LineSettings struct {
	Baud   int
	Data   int  // 5 to 8 bits
	Parity byte // N E O M S
	Stop   int  // 1 or 2; 15 is one and a half
}

// ParseLine reads "9600 8N1".
func ParseLine(s string) (LineSettings, error) {
	bad := fmt.Errorf("%q is no line setting; expected baud, data bits, parity and stop bits, such as 9600 8N1 or 4800 7E2", s)
	w := strings.Fields(s)
	if len(w) != 2 || len(w[1]) < 3 {
		return LineSettings{}, bad
	}
	baud, err := strconv.Atoi(w[0])
	if err != nil || baud < 50 || baud > 4000000 {
		return LineSettings{}, bad
	}
	l := LineSettings{Baud: baud, Data: int(w[1][0] - '0'), Parity: upper(w[1][1])}
	switch w[1][2:] {
	case "1":
		l.Stop = 1
	case "2":
		l.Stop = 2
	case "1.5":
		l.Stop = 15
	}
	if l.Data < 5 || l.Data > 8 || !strings.ContainsRune("NEOMS", rune(l.Parity)) || l.Stop == 0 {
		return LineSettings{}, bad
	}
	return l, nil
}

// String writes what ParseLine reads.
func (l LineSettings) String() string {
	stop := strconv.Itoa(l.Stop)
	if l.Stop == 15 {
		stop = "1.5"
	}
	return fmt.Sprintf("%d %d%c%s", l.Baud, l.Data, l.Parity, stop)
}
