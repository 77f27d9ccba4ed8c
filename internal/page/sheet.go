package page

import (
	"net/http"

	"thouwright/config"
)

// sheetPaths are the page's ways to a job sheet.
func (s *Server) sheetPaths(mux *http.ServeMux) {
	mux.HandleFunc("GET /api/templates", s.readers(templates))
	mux.HandleFunc("POST /api/draft", s.readers(drafted))
	if s.opt.SaveSheet != nil {
		mux.HandleFunc("POST /api/sheet", s.changers(s.saveSheet))
	}
	if s.opt.Sheet != nil {
		mux.HandleFunc("GET /api/sheet/{number}", s.readers(s.readSheet))
	}
}

// saveSheet is POST /api/sheet {number, text, replace}: a new job, or with
// replace an edited one.
func (s *Server) saveSheet(w http.ResponseWriter, r *http.Request) {
	var b struct {
		Number, Text string
		Replace      bool
	}
	if !readJSON(w, r, sheetBytes, &b) {
		return
	}
	if !config.GoodNumber(b.Number) {
		refuse(w, http.StatusUnprocessableEntity, "a job number is letters, digits, '.', '_' and '-', at most 64, and begins with a letter or digit")
		return
	}
	if !b.Replace && s.opt.Sheet != nil {
		if _, err := s.opt.Sheet(b.Number); err == nil {
			refuse(w, http.StatusConflict, "a job "+b.Number+" is there already: choose another number, or edit that one")
			return
		}
	}
	if err := s.opt.SaveSheet(b.Number, []byte(b.Text)); err != nil {
		refuse(w, http.StatusUnprocessableEntity, err.Error())
		return
	}
	done(w, map[string]string{"number": b.Number})
}

// readSheet is GET /api/sheet/{number}: its text.
func (s *Server) readSheet(w http.ResponseWriter, r *http.Request) {
	n := r.PathValue("number")
	if !config.GoodNumber(n) {
		refuse(w, http.StatusNotFound, "there is no such job")
		return
	}
	b, err := s.opt.Sheet(n)
	if err != nil {
		refuse(w, http.StatusNotFound, err.Error())
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Write(encode(map[string]string{"number": n, "text": string(b)}))
}
