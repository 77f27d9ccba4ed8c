package page

import "net/http"

// Sums are the trade's sums as the page needs them: the definitions from which
// it draws its forms, and the calculation.
type Sums interface {
	// Definitions is what the forms are made from, as JSON.
	Definitions() any
	// Work does one sum from the texts of its fields.
	Work(verb string, fields map[string]string) (any, error)
}

func (s *Server) sumPaths(mux *http.ServeMux) {
	if s.opt.Sums == nil {
		return
	}
	mux.HandleFunc("GET /api/sums", s.readers(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.Write(encode(s.opt.Sums.Definitions()))
	}))
	mux.HandleFunc("POST /api/sums/{verb}", s.readers(s.sum))
}

// sum is POST /api/sums/VERB: it changes nothing, so readers may.
func (s *Server) sum(w http.ResponseWriter, r *http.Request) {
	fields := map[string]string{}
	if !readJSON(w, r, bodyBytes, &fields) {
		return
	}
	v, err := s.opt.Sums.Work(r.PathValue("verb"), fields)
	if err != nil {
		refuse(w, http.StatusUnprocessableEntity, err.Error())
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Write(encode(v))
}
