package main

import (
	"net"
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"thouwright": main})
}

// Each story in testdata/script is a session at the command line, headed by
// what it protects. EXAMPLE is the example bench's folder,
// GOLDEN a job's folder that an earlier build wrote, SILENT a port of the network
// where nothing is sent.
func TestScripts(t *testing.T) {
	example, err := filepath.Abs("../../config/example")
	if err != nil {
		t.Fatal(err)
	}
	golden, err := filepath.Abs("../../internal/journal/testdata/golden/2026-041")
	if err != nil {
		t.Fatal(err)
	}
	silent, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { silent.Close() })
	testscript.Run(t, testscript.Params{
		Dir:  "testdata/script",
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"stream": streamCmd},
		Setup: func(e *testscript.Env) error {
			e.Setenv("EXAMPLE", example)
			e.Setenv("GOLDEN", golden)
			e.Setenv("SILENT", silent.Addr().String())
			e.Setenv("HOME", e.WorkDir)
			return os.MkdirAll(filepath.Join(e.WorkDir, "tmp"), 0o755)
		},
	})
}
