package journal

import (
	"strings"

	"thouwright/internal/ledger"
)

// An anchor event's text is what it was made for, a colon, and the last chain
// of every file: 'take 3: readings.csv=0123456789abcdef rests.csv=…'. Of a
// part that went on in the next one it is the last row that counts: rows
// behind it stand again in the next part.

// stopAnchor is what the anchor of a stop in order was made for.
const stopAnchor = "stop"

type anchorEntry struct {
	file  string
	chain ledger.Chain
}

func anchorText(why string, entries []anchorEntry) string {
	var b strings.Builder
	b.Grow(len(why) + 32*len(entries))
	b.WriteString(why)
	b.WriteByte(':')
	for _, e := range entries {
		b.WriteByte(' ')
		b.WriteString(e.file)
		b.WriteByte('=')
		b.Write(e.chain[:])
	}
	return b.String()
}

// parseAnchor reads anchorText; ok is false for any other text.
func parseAnchor(text string) (why string, entries []anchorEntry, ok bool) {
	why, rest, ok := strings.Cut(text, ":")
	if !ok {
		return "", nil, false
	}
	for _, f := range strings.Fields(rest) {
		i := strings.LastIndexByte(f, '=')
		if i < 0 {
			return "", nil, false
		}
		c, ok := ledger.ParseChain(f[i+1:])
		if !ok {
			return "", nil, false
		}
		entries = append(entries, anchorEntry{f[:i], c})
	}
	return why, entries, true
}

// fullText is the text of the disk event that says that a part is full.
func fullText(part, next string) string { return part + fullWords + next }

const fullWords = " is full and goes on in "

// parseFull is the part that a disk event says is full.
func parseFull(e *ledger.Event) (part string, ok bool) {
	if e.Kind != ledger.EvDisk {
		return "", false
	}
	part, _, ok = strings.Cut(e.Text, fullWords)
	return part, ok
}
