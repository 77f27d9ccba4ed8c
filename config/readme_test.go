package config

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

// Nobody finds a key that is written down nowhere: the README shows each that the bench
// file and the job sheet may hold.
func TestTheReadmeShowsEveryKey(t *testing.T) {
	b, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	var shown strings.Builder
	for i, part := range strings.Split(string(b), "```") {
		if i%2 == 1 && strings.HasPrefix(part, "toml") {
			shown.WriteString(part)
		}
	}
	// And the job sheet shown is one that is read without a complaint.
	for _, part := range strings.Split(string(b), "```toml\n")[1:] {
		if text, _, _ := strings.Cut(part, "```"); strings.HasPrefix(text, "number =") {
			if j, ps := ParseJob("README.md", []byte(text)); j == nil || len(ps) > 0 {
				t.Errorf("the README's job sheet: %v", lines(ps))
			}
		}
	}
	n := 0
	var keys func(typ reflect.Type, seen map[reflect.Type]bool)
	keys = func(typ reflect.Type, seen map[reflect.Type]bool) {
		for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
			typ = typ.Elem()
		}
		if typ.Kind() != reflect.Struct || seen[typ] {
			return
		}
		seen[typ] = true
		for i := range typ.NumField() {
			f := typ.Field(i)
			if key := strings.Split(f.Tag.Get("toml"), ",")[0]; key != "" && key != "-" {
				n++
				if !regexp.MustCompile(`(?m)(^|[\s.[#])` + key + `( =|\])`).MatchString(shown.String()) {
					t.Errorf("README.md does not show %s (%s)", key, typ.Name())
				}
				keys(f.Type, seen)
			}
		}
	}
	keys(reflect.TypeFor[Bench](), map[reflect.Type]bool{})
	keys(reflect.TypeFor[Job](), map[reflect.Type]bool{})
	if n < 60 {
		t.Errorf("only %d keys", n)
	}
}
