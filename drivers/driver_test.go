package drivers

import (
	"fmt"
	"testing"
)

// Every built-in file's own examples give what they say.
func TestBuiltInExamples(t *testing.T) {
	for _, d := range BuiltIn().All() {
		t.Run(d.Name, func(t *testing.T) {
			for _, err := range d.CheckExamples() {
				t.Error(err)
			}
			if d.About == "" {
				t.Error("no 'about'")
			}
		})
	}
}

func mustParse(t testing.TB, text string) *Driver {
	t.Helper()
	d, err := Parse("test.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func show(s []string) string { return fmt.Sprintf("%q", s) }
