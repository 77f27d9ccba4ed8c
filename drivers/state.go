package drivers

import (
	"thouwright/internal/quantity"
)

// State is what a decoder holds from one chunk to the next, so that a recording
// which begins in mid-stream can go on where the decoder was.
type State struct {
	Half     []byte `json:"half,omitempty"`     // of the frame at hand
	Slid     []byte `json:"slid,omitempty"`     // what no frame of fixed length could hold
	Distrust bool   `json:"distrust,omitempty"` // the start of the frame at hand was not seen
	Opened   bool   `json:"opened,omitempty"`   // nothing was read since the port was opened
	Unit     string `json:"unit,omitempty"`     // sent before, and it holds
	Channel  string `json:"channel,omitempty"`  // the same
	Asked    string `json:"asked,omitempty"`    // by a poll
}

// State is what the decoder holds now.
func (d *Decoder) State() State {
	return State{Half: append([]byte(nil), d.buf...), Slid: append([]byte(nil), d.slid...), Distrust: d.spoilt,
		Opened: d.opened, Unit: d.unit.String(), Channel: string(d.channel), Asked: string(d.asked)}
}

// Resume goes on from a state; half a frame counts as read at the elapsed
// microsecond at.
func (d *Decoder) Resume(s State, at int64) error {
	d.Reset()
	d.last, d.openedAt, d.spoilt = at, at, s.Distrust
	unit, err := quantity.ParseUnit(s.Unit)
	if err != nil {
		return err
	}
	d.unit = unit
	d.channel = append(d.channel, s.Channel...)
	d.asked = append(d.asked, s.Asked...)
	d.slid = append(d.slid, s.Slid...)
	// The bytes of half a frame give nothing: it would not be half a one.
	d.feed(s.Half, func(*Value) {})
	d.opened = s.Opened
	return nil
}
