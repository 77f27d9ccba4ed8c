package page

import (
	"errors"
	"net/http"
	"time"
)

// photo is POST /api/photo, the picture's bytes as the body. It answers with the
// name of what is then on disk, which a note gives as its photo.
func (s *Server) photo(w http.ResponseWriter, r *http.Request) {
	// One at a time: the bench's disk has readings to write.
	select {
	case s.coming <- struct{}{}:
		defer func() { <-s.coming }()
	case <-r.Context().Done():
		return
	}
	c := http.NewResponseController(w)
	c.SetReadDeadline(time.Now().Add(photoTime))
	c.SetWriteDeadline(time.Now().Add(photoTime + answerTime))
	name, err := s.opt.Photo(http.MaxBytesReader(w, r.Body, photoBytes))
	var big *http.MaxBytesError
	switch {
	case errors.As(err, &big):
		refuse(w, http.StatusRequestEntityTooLarge, "a photograph may have at most 25 MB")
	case err != nil:
		refuse(w, http.StatusUnprocessableEntity, err.Error())
	default:
		done(w, map[string]string{"photo": name})
	}
}
