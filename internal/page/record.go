package page

import (
	"bytes"
	"net/http"
	"time"

	"thouwright/config"
)

// formats are the documents the page offers.
var formats = map[string]string{
	"html": "text/html; charset=utf-8",
	"pdf":  "application/pdf",
	"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
	"csv":  "text/csv; charset=utf-8",
}

func (s *Server) recordPaths(mux *http.ServeMux) {
	if s.opt.Record != nil {
		mux.HandleFunc("GET /record/{number}/{format}", s.readers(s.record))
	}
}

// record is GET /record/NUMBER/FORMAT: the document of a job, built whole
// before its first byte so that a fault is an answer and not half a file. The
// HTML one is shown inside the page, shut in: no script, no outside resource.
func (s *Server) record(w http.ResponseWriter, r *http.Request) {
	number, format := r.PathValue("number"), r.PathValue("format")
	kind, ok := formats[format]
	if !ok || !config.GoodNumber(number) {
		refuse(w, http.StatusNotFound, "there is no such record")
		return
	}
	http.NewResponseController(w).SetWriteDeadline(time.Now().Add(recordTime))
	var b bytes.Buffer
	if err := s.opt.Record(&b, number, format); err != nil {
		refuse(w, http.StatusUnprocessableEntity, err.Error())
		return
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	if format == "html" {
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; frame-ancestors 'self'; sandbox")
		h.Set("X-Frame-Options", "SAMEORIGIN")
	}
	if format != "html" || r.URL.Query().Has("save") {
		h.Set("Content-Disposition", `attachment; filename="`+number+"."+format+`"`)
	}
	w.Write(b.Bytes())
}
