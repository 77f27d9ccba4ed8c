package config

import (
	"fmt"
	"path/filepath"

	"thouwright/internal/form"
)

// Edit changes one key of one [[gauge]] in a bench file's text, or adds it,
// and leaves comments and layout as they are. value is the text between the
// quotes. A change that would break the file is refused.
func Edit(text []byte, gauge, key, value string) ([]byte, error) {
	b, ps := ParseBench("bench.toml", text)
	if b == nil {
		return nil, fmt.Errorf("the file has a mistake to be mended first: %s", firstRefusal(ps).Text)
	}
	for i := range b.Gauges {
		if b.Gauges[i].Name != gauge {
			continue
		}
		out, err := b.lines.Set(text, quote(value), key, "gauge", i)
		if err != nil {
			return nil, err
		}
		if b, ps := ParseBench("bench.toml", out); b == nil {
			return nil, fmt.Errorf("%s = %q can't be written: %s", key, value, firstRefusal(ps).Text)
		}
		return out, nil
	}
	return nil, fmt.Errorf("%s", unknownGauge("gauge", gauge, b))
}

func firstRefusal(ps []Problem) Problem {
	for _, p := range ps {
		if !p.Warning {
			return p
		}
	}
	return Problem{}
}

// Change is a key of a [[gauge]] and the text between its quotes.
type Change struct{ Key, Value string }

// EditFile makes changes to one gauge of a bench file, all or none. A link is
// followed, not replaced.
func EditFile(file, gauge string, changes ...Change) error {
	if real, err := filepath.EvalSymlinks(file); err == nil {
		file = real
	}
	text, err := form.ReadFile(file, "bench file")
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	for _, c := range changes {
		if text, err = Edit(text, gauge, c.Key, c.Value); err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
	}
	return writeWhole(file, text, true)
}
