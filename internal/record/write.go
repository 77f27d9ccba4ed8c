package record

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"
)

// Options is what a form may be told.
type Options struct {
	Made  time.Time // when the document is made
	Paper string    // of the PDF: a4 (also for "") or letter
}

// formats are the forms a record can take, by the ending of a file's name.
var formats = map[string]func(*Record, io.Writer, Options) error{
	"html": (*Record).HTML,
	"pdf":  (*Record).PDF,
	"xlsx": (*Record).XLSX,
	"csv":  (*Record).CSV,
}

// Formats are the endings that Write knows.
func Formats() []string { return slices.Sorted(maps.Keys(formats)) }

// papers are the sizes of paper by their names here, as the PDF library calls
// them.
var papers = map[string]string{"": "A4", "a4": "A4", "letter": "Letter"}

// Write writes the record in a format: html, pdf, xlsx or csv.
func (r *Record) Write(w io.Writer, format string, o Options) error {
	f := formats[strings.ToLower(format)]
	if f == nil {
		return fmt.Errorf("format %q: expected one of %s", format, strings.Join(Formats(), ", "))
	}
	return f(r, w, o)
}
