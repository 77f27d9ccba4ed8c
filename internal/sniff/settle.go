package sniff

import (
	"fmt"

	"thouwright/internal/port"
)

// settle proves a setting and asks what else would give the same.
func (s *search) settle(at port.Settings) (done bool, err error) {
	s.say("%s fits: staying there", at)
	h, err := s.more(at, nil)
	if err != nil || h == nil {
		return false, err
	}
	// What other settings give is looked at with the drivers that fit here: some
	// driver or other fits a few bytes of nonsense.
	s.known = s.known[:0]
	_, all := best(s.Drivers, h, 2)
	for i := range all {
		s.known = append(s.known, all[i].driver)
	}
	// A parity that is checked and right proves itself; only whether anybody
	// checks it is open, which the other parity tells.
	data := fmt.Sprint(at.DataBits)
	rivals := []string{data + "E1", data + "O1"}
	fit := map[string]bool{frameOf(at): true}
	for _, frame := range rivals {
		if fit[frame] {
			continue
		}
		yes, sure, err := s.rival(setting(at.Baud, frame))
		if err != nil {
			return false, err
		}
		if !sure {
			s.r.Why = fmt.Sprintf("%s fits, but too little came to tell it from %s: let the gauge send while listening", at, frame)
			return true, nil
		}
		fit[frame] = yes
	}
	free, err := s.anySpeed(at)
	if err != nil {
		return false, err
	}
	if !s.choose(h) {
		return true, nil
	}
	s.line(at, fit, free)
	return true, nil
}

// rival tells whether another setting reads the gauge as well. What is unclear
// after one dwell is listened to for longer: 'too little heard' is not 'no'.
func (s *search) rival(at port.Settings) (fits, sure bool, err error) {
	most := s.dwell(at.Baud)
	for range 3 {
		h, err := s.listen(at, most)
		if err != nil {
			return false, false, err
		}
		if h == nil {
			return false, true, nil // the port does not take it
		}
		if j, _ := best(s.known, h, 1); j != nil {
			return true, true, nil
		}
		if s.misfit(h) {
			return false, true, nil
		}
		most *= 2
	}
	return false, false, nil
}

// misfit tells whether what was heard cannot be the gauge as it is.
func (s *search) misfit(h *heard) bool {
	if h.total < 6 {
		return false
	}
	bad := true
	for _, d := range s.known {
		j := judge(d, h)
		if j.bad == 0 && j.good > 0 {
			return false
		}
		bad = bad && j.good == 0 && j.bad >= 2
	}
	if bad {
		return true
	}
	all := h.bytes()
	for _, x := range all {
		if x == 0 || x >= 0x80 {
			return true
		}
	}
	return !text(h.settings, all)
}

// anySpeed tells whether the port gives the same bytes at another speed: then
// its settings mean nothing, as with a gauge that is a USB device itself.
func (s *search) anySpeed(at port.Settings) (bool, error) {
	other := at
	if other.Baud = 1200; at.Baud == 1200 {
		other.Baud = 115200
	}
	h, err := s.listen(other, s.dwell(other.Baud))
	if err != nil || h == nil {
		return false, err
	}
	j, _ := best(s.known, h, 1)
	return j != nil, nil
}
