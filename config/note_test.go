package config

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Notes and conditions come back from a written sheet as they were.
func TestNotesAreWrittenAndReadAgain(t *testing.T) {
	want := &Job{Number: "7", Stages: []string{"as found", "assembled"}, Conditions: `shop at 18 °C, "cold"`, Notes: []Note{
		{Text: "rust at the seal's seat"},
		{Kind: "renewed", Stage: "assembled", Component: "pin", Text: "both seals", Photo: "photos/seal.jpg"},
	}, Components: []Component{{Name: "pin", Checks: []Check{{Name: "play", Method: "play", Gauge: "dial-1"}}}}}
	got, ps := ParseJob("f", WriteJob(want))
	if got == nil {
		t.Fatal(lines(ps))
	}
	if d := cmp.Diff(want.Notes, got.Notes); d != "" || got.Conditions != want.Conditions {
		t.Errorf("conditions %q, notes (-want +got):\n%s", got.Conditions, d)
	}
}
