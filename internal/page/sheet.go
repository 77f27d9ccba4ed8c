package page

import (
	"net/http"
	"regexp"
)

// jobNumber is the contract's form of a job number.
var jobNumber = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$`)

// sheetPaths are the page's ways to a job sheet.
func (s *Server) sheetPaths(mux *http.ServeMux) {
	if s.opt.SaveSheet != nil {
		mux.HandleFunc("POST /api/sheet", s.changers(s.saveSheet))
	}
	if s.opt.Sheet != nil {
		mux.HandleFunc("GET /api/sheet/{number}", s.readers(s.readSheet))
	}
}

// saveSheet is POST /api/sheet {number, text}.
func (s *Server) saveSheet(w http.ResponseWriter, r *http.Request) {
	var b struct{ Number, Text string }
	if !readJSON(w, r, sheetBytes, &b) {
		return
	}
	if !jobNumber.MatchString(b.Number) {
		refuse(w, http.StatusUnprocessableEntity, "a job number is letters, digits, '.', '_' and '-', at most 64, and begins with a letter or digit")
		return
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
	if !jobNumber.MatchString(n) {
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
