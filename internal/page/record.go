package page

import (
	"io"
	"net/http"
	"os"
	"strconv"
	"time"

	"thouwright/config"
)

// formats are the documents the page offers, and the bundle of them all.
var formats = map[string]struct{ kind, ending string }{
	"html":   {"text/html; charset=utf-8", "html"},
	"pdf":    {"application/pdf", "pdf"},
	"xlsx":   {"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "xlsx"},
	"csv":    {"text/csv; charset=utf-8", "csv"},
	"bundle": {"application/zip", "zip"},
}

func (s *Server) recordPaths(mux *http.ServeMux) {
	if s.opt.Record != nil {
		mux.HandleFunc("GET /record/{number}/{format}", s.readers(s.record))
	}
}

// record is GET /record/NUMBER/FORMAT: the document of a job, or its bundle,
// made whole before its first byte so that a fault is an answer and not half a
// file. The HTML one is shown inside the page, shut in: no script, no outside
// resource.
func (s *Server) record(w http.ResponseWriter, r *http.Request) {
	number, format := r.PathValue("number"), r.PathValue("format")
	form, ok := formats[format]
	if !ok || !config.GoodNumber(number) {
		refuse(w, http.StatusNotFound, "there is no such record")
		return
	}
	// One at a time: they cost memory and processor that the bench needs.
	select {
	case s.making <- struct{}{}:
		defer func() { <-s.making }()
	case <-r.Context().Done():
		return
	}
	http.NewResponseController(w).SetWriteDeadline(time.Now().Add(recordTime))
	f, err := os.CreateTemp("", "thouwright-record-")
	if err != nil {
		refuse(w, http.StatusInternalServerError, "the record cannot be made: "+err.Error())
		return
	}
	defer os.Remove(f.Name())
	defer f.Close()
	if err := s.opt.Record(f, number, format); err != nil {
		refuse(w, http.StatusUnprocessableEntity, err.Error())
		return
	}
	size, err := f.Seek(0, io.SeekCurrent)
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		refuse(w, http.StatusInternalServerError, "the record cannot be read again: "+err.Error())
		return
	}
	http.NewResponseController(w).SetWriteDeadline(time.Now().Add(recordTime))
	h := w.Header()
	h.Set("Content-Type", form.kind)
	h.Set("Content-Length", strconv.FormatInt(size, 10))
	if format == "html" {
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; frame-ancestors 'self'; sandbox")
		h.Set("X-Frame-Options", "SAMEORIGIN")
	}
	if format != "html" || r.URL.Query().Has("save") {
		h.Set("Content-Disposition", `attachment; filename="`+number+"."+form.ending+`"`)
	}
	io.Copy(w, f)
}
