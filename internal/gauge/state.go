package gauge

import (
	"encoding/json"
	"fmt"

	"thouwright/drivers"
	"thouwright/internal/ledger"
)

// State is what the source is in the middle of, as text.
func (s *Source) State() string {
	st := state{Stream: s.dec.State(), Adopted: map[string]string{}}
	for _, g := range s.gauges {
		if g.adopted != "" {
			st.Adopted[g.Name] = g.adopted
		}
	}
	text, err := json.Marshal(st)
	if err != nil {
		panic(err) // it holds nothing that JSON cannot
	}
	return string(text)
}

type state struct {
	Stream  drivers.State     `json:"stream"`
	Adopted map[string]string `json:"adopted,omitempty"`
}

// Resume goes on, on an open port, from what State gave; silence is timed from
// at. "" is the state of a stream that begins where a reading begins.
func (s *Source) Resume(text string, at ledger.Stamp) error {
	var st state
	if text != "" {
		if err := json.Unmarshal([]byte(text), &st); err != nil {
			return fmt.Errorf("state of a port: %w", err)
		}
	}
	if err := s.dec.Resume(st.Stream, at.Elapsed); err != nil {
		return fmt.Errorf("state of a port: %w", err)
	}
	s.channel = st.Stream.Asked
	s.open(at)
	s.bytes = len(st.Stream.Half) > 0
	for _, g := range s.gauges {
		g.adopted = st.Adopted[g.Name]
	}
	s.unknown = nil
	s.arm()
	return nil
}
