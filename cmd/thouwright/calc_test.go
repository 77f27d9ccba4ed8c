package main

import (
	"bytes"
	"strings"
	"testing"
)

// TestCalcStatus: 0 done, 1 the work failed, 2 wrong use, each error one line.
func TestCalcStatus(t *testing.T) {
	for line, want := range map[string]int{
		"calc fit|32 H7/g6":        0,
		"calc fit --help":          0,
		"calc --json fit|32 H7/g6": 0,
		"calc shim --play 0.31 --band 0.02..0.05 --stock 0.05,0.10,0.20":        1,
		"calc shim --json --play 0.31 --band 0.02..0.05 --stock 0.05,0.10,0.20": 1,
		"calc fit 32 --clearance 0.0090..0.0091":                                1,
		"calc":                                                                  2,
		"calc nothing":                                                          2,
		"calc fit":                                                              2,
		"calc fit|32 W7":                                                        2,
		"calc --unit kg fit|32 H7/g6":                                           2,
	} {
		head, quoted, ok := strings.Cut(line, "|")
		args := strings.Fields(head)
		if ok {
			args = append(args, quoted)
		}
		var out, errs bytes.Buffer
		if got := thouwright(args, &runContext{nil, &out, &errs}); got != want {
			t.Errorf("%s: status %d, expected %d (%s)", line, got, want, errs.String())
		}
		if n := strings.Count(errs.String(), "\n"); (want > 0) != (n > 0) || n > 1 {
			t.Errorf("%s: standard error holds %d lines: %s", line, n, errs.String())
		}
		if (want < 2) != (out.Len() > 0) {
			t.Errorf("%s: standard output %q", line, out.String())
		}
	}
}
