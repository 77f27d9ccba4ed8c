package record

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"
)

// formats are the forms a record can take, by the ending of a file's name.
var formats = map[string]func(*Record, io.Writer, time.Time) error{
	"html": (*Record).HTML,
	"pdf":  (*Record).PDF,
	"xlsx": (*Record).XLSX,
	"csv":  func(r *Record, w io.Writer, _ time.Time) error { return r.CSV(w) },
}

// Formats are the endings that Write knows.
func Formats() []string { return slices.Sorted(maps.Keys(formats)) }

// Write writes the record in a format: html, pdf, xlsx or csv. made is when.
func (r *Record) Write(w io.Writer, format string, made time.Time) error {
	f := formats[strings.ToLower(format)]
	if f == nil {
		return fmt.Errorf("format %q: expected one of %s", format, strings.Join(Formats(), ", "))
	}
	return f(r, w, made)
}
