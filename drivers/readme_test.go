package drivers

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

// The driver file in the README, once it stands there, does what it says.
func TestReadmeDriver(t *testing.T) {
	text, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, m := range regexp.MustCompile("(?s)```toml\n(.*?)```").FindAllStringSubmatch(string(text), -1) {
		if !strings.Contains(m[1], "[[example]]") {
			continue
		}
		n++
		for _, err := range mustParse(t, m[1]).CheckExamples() {
			t.Error(err)
		}
	}
	if n == 0 {
		t.Error("the README shows no driver file with an example")
	}
}
