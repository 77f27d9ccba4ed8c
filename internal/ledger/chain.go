package ledger

import (
	"crypto/sha256"
	"strings"
)

// Chain is the last column of every row: the first 16 hex digits of SHA-256
// over the previous row's chain (as those 16 characters) followed by the row's
// bytes without its last comma and chain.
type Chain [16]byte

// ChainLen is how many bytes a chain and the comma before it take in a row.
const ChainLen = len(Chain{}) + 1

// Seed is the chain that stands before a file's first row: the first 16 hex
// digits of SHA-256 over the file's name, a space, the job number, a newline
// and the header line without its line end. Every file has its own, so a
// part that goes on (readings.2.csv) starts from its own name; the anchor
// events tie the parts together.
func Seed(file, number, header string) Chain {
	return hex16(sha256.Sum256([]byte(file + " " + number + "\n" + header)))
}

// Next is the chain of a row (without its comma and chain) that follows c.
func (c Chain) Next(row []byte) Chain {
	b := make([]byte, 0, 512)
	return hex16(sha256.Sum256(append(append(b, c[:]...), row...)))
}

// AppendChained appends the row that format writes, its comma, its chain and
// its line end to b, and moves c on. It does not allocate beyond b's growth.
func AppendChained(b []byte, c *Chain, format func([]byte) []byte) []byte {
	start := len(b)
	b = format(append(b, c[:]...))
	return SealRow(b, start, c)
}

// SealRow is AppendChained for a row that already stands in b behind the 16
// bytes of c at start.
func SealRow(b []byte, start int, c *Chain) []byte {
	*c = hex16(sha256.Sum256(b[start:]))
	n := copy(b[start:], b[start+len(c):])
	b = append(b[:start+n], ',')
	b = append(b, c[:]...)
	return append(b, '\n')
}

const hexDigits = "0123456789abcdef"

func hex16(sum [sha256.Size]byte) (c Chain) {
	for i := range 8 {
		c[2*i] = hexDigits[sum[i]>>4]
		c[2*i+1] = hexDigits[sum[i]&15]
	}
	return c
}

// String is the 16 hex digits.
func (c Chain) String() string { return string(c[:]) }

// ParseChain reads 16 lower-case hex digits.
func ParseChain[T string | []byte](s T) (c Chain, ok bool) {
	if len(s) != len(c) {
		return c, false
	}
	for i := range len(s) {
		if strings.IndexByte(hexDigits, s[i]) < 0 {
			return c, false
		}
		c[i] = s[i]
	}
	return c, true
}

// Header is a file's first line, without its line end.
func (f File) Header() string { return strings.Join(f.Columns, ",") }
