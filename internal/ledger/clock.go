package ledger

import "fmt"

// ClockWatch notices that the clock on the wall was set: between two stamps it
// should move as far as the monotonic one. A slow correction is followed; a
// sleep of the machine shows as a step, because the monotonic clock stands
// still in it. The zero value is ready.
type ClockWatch struct {
	offset int64
	set    bool
}

const (
	// clockStep is the least step that is told, in microseconds.
	clockStep = 500_000
	// clockBorn is a wall time before which no clock of ours can be right.
	clockBorn = 1_735_689_600 * 1e6 // 2025-01-01T00:00:00Z
)

// See looks at a stamp. Where the wall clock was stepped since the one before,
// or says at the first that it was never set, text is that of a clock event;
// otherwise it is empty.
func (c *ClockWatch) See(s Stamp) (text string) {
	offset := s.Wall - s.Elapsed
	step := offset - c.offset
	first := !c.set
	c.offset, c.set = offset, true
	switch {
	case first && s.Wall < clockBorn:
		return "the wall clock says " + string(AppendTime(nil, s.Wall)) + ": it was not set; order and elapsed times are right all the same"
	case !first && (step >= clockStep || step <= -clockStep):
		return fmt.Sprintf("the wall clock was stepped by %s s, to %s; order and elapsed times go on as they were",
			AppendSeconds(nil, step), AppendTime(nil, s.Wall))
	}
	return ""
}
