package page

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"reflect"
	"strings"

	"thouwright/internal/ledger"
)

// commands are the POST /api/ names that become a ledger.Command. A sheet and
// a bench file are not among them: those go to disk and are read from there.
var commands = map[string]bool{
	ledger.DoJob: true, ledger.DoStage: true, ledger.DoPosition: true, ledger.DoAccept: true, ledger.DoRedo: true,
	ledger.DoBack: true, ledger.DoRestart: true, ledger.DoNote: true, ledger.DoUnit: true, ledger.DoSound: true,
	ledger.DoLock: true, ledger.DoStep: true,
}

// handler is every path there is.
func (s *Server) handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.home)
	mux.HandleFunc("GET /assets/{file}", asset)
	mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, r *http.Request) { serveAsset(w, r, "mark.svg") })
	mux.HandleFunc("GET /pair/{token}", s.pair)
	mux.HandleFunc("GET /events", s.readers(s.events))
	mux.HandleFunc("GET /api/state", s.readers(s.state))
	mux.HandleFunc("GET /api/codes", s.codes)
	mux.HandleFunc("POST /api/{do}", s.changers(s.do))
	mux.HandleFunc("GET /healthz", s.healthz)
	s.sheetPaths(mux)
	s.sumPaths(mux)
	s.recordPaths(mux)
	if s.opt.Photo != nil {
		mux.HandleFunc("POST /api/photo", s.changers(s.photo))
	}
	if s.opt.Metrics != nil {
		mux.HandleFunc("GET /metrics", s.readers(s.opt.Metrics.ServeHTTP))
	}
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		refuse(w, http.StatusNotFound, "nothing is here")
	})
	return s.guard(mux)
}

// do is POST /api/{do}: one command of a person.
func (s *Server) do(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("do")
	if !commands[name] {
		refuse(w, http.StatusNotFound, "there is no such command")
		return
	}
	var c ledger.Command
	if !readJSON(w, r, bodyBytes, &c) {
		return
	}
	if c.Do != "" && c.Do != name {
		refuse(w, http.StatusBadRequest, `"do" and the path name different commands`)
		return
	}
	if c.Sheet != "" || c.Bench != "" {
		refuse(w, http.StatusBadRequest, "a sheet is posted to /api/sheet; the bench file is edited on the bench computer")
		return
	}
	if c.PhotoSum != "" {
		refuse(w, http.StatusBadRequest, "a photograph's sum is the bench's to state")
		return
	}
	c.Do, c.By = name, "page"
	ctx, cancel := context.WithTimeout(r.Context(), requestTime)
	defer cancel()
	if err := s.desk.Do(ctx, c); err != nil {
		refuse(w, http.StatusConflict, err.Error())
		return
	}
	done(w, nil)
}

// expectedKeys names the keys of a body.
func expectedKeys(into any) string {
	t := reflect.TypeOf(into).Elem()
	if t.Kind() != reflect.Struct {
		return ""
	}
	var keys []string
	for i := range t.NumField() {
		if key, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ","); key != "" && key != "-" {
			keys = append(keys, key)
		}
	}
	return "; expected an object with some of " + strings.Join(keys, ", ")
}

// readJSON reads a body of one JSON object, or none; it answers itself when
// the body is not that.
func readJSON(w http.ResponseWriter, r *http.Request, most int64, into any) bool {
	if t, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || t != "application/json" {
		refuse(w, http.StatusUnsupportedMediaType, "send Content-Type: application/json")
		return false
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, most))
	d.DisallowUnknownFields()
	err := d.Decode(into)
	if errors.Is(err, io.EOF) {
		return true
	}
	if err == nil && d.More() {
		err = errors.New("more than one value")
	}
	var big *http.MaxBytesError
	switch {
	case errors.As(err, &big):
		refuse(w, http.StatusRequestEntityTooLarge, "that is too much text")
	case err != nil:
		refuse(w, http.StatusBadRequest, "not the expected JSON: "+strings.TrimPrefix(err.Error(), "json: ")+expectedKeys(into))
	}
	return err == nil
}

// done answers a change that was made.
func done(w http.ResponseWriter, more map[string]string) {
	w.Header().Set("Content-Type", "application/json")
	if more == nil {
		more = map[string]string{}
	}
	more["done"] = "yes"
	json.NewEncoder(w).Encode(more)
}

// healthz is for a service manager: 200 when all is well. What is wrong is
// said on this computer only.
func (s *Server) healthz(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if s.opt.Health != nil {
		if err := s.opt.Health(); err != nil {
			w.WriteHeader(http.StatusServiceUnavailable)
			if loopback(r) {
				io.WriteString(w, err.Error()+"\n")
			} else {
				io.WriteString(w, "not well\n")
			}
			return
		}
	}
	io.WriteString(w, "ok\n")
}
