package record_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"thouwright/internal/record"
)

// The PDF comes on the paper that was asked for, and on no other.
func TestPaper(t *testing.T) {
	r := job(t)
	for paper, want := range map[string]string{"": "(A4)", "a4": "(A4)", "letter": "(letter)"} {
		file := filepath.Join(t.TempDir(), "r.pdf")
		var b bytes.Buffer
		if err := r.Write(&b, "pdf", record.Options{Paper: paper}); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("pdfinfo", file).Output()
		if err != nil {
			t.Fatalf("pdfinfo (apt-get install poppler-utils): %v", err)
		}
		if !strings.Contains(string(out), want) {
			t.Errorf("paper %q: expected %s in\n%s", paper, want, out)
		}
	}
	if err := r.Write(&bytes.Buffer{}, "pdf", record.Options{Paper: "A5"}); err == nil || !strings.Contains(err.Error(), "expected a4 or letter") {
		t.Errorf("paper A5: %v", err)
	}
}
