package main

import (
	"strings"
	"testing"

	"thouwright/internal/journal"
)

// Names from a stranger's folder are shown, not obeyed: one line each, whatever
// they hold.
func TestVerifyShowsHostileNames(t *testing.T) {
	var out strings.Builder
	printReport(&runContext{Out: &out}, journal.Report{
		Files: []journal.FileReport{{Name: "readings.torn-1\ntakes.csv  holds", Text: "missing"}, {Name: "größer.csv", Holds: true, Text: "1 rows … hold"}},
		Notes: []string{"\x1b[2K\u202e is no part of the log", "\x9b2J"},
	})
	want := `"readings.torn-1\ntakes.csv  holds"  DAMAGED  missing
größer.csv                           holds    1 rows … hold
note: "\x1b[2K\u202e is no part of the log"
note: "\x9b2J"
`
	if out.String() != want {
		t.Errorf("%s", out.String())
	}
}
