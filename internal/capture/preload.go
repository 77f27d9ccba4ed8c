package capture

import (
	"reflect"

	"thouwright/config"
	"thouwright/internal/ledger"
	"thouwright/internal/method"
)

// A preload may be worked out: the drag less that of the seals alone. The nut is then
// turned with the gauge on the drag, and the limits are the derived check's.

// findSet finds what the adjuster of a drag sets beside the drag itself: the derived
// checks that grow with it, and evenly. Of one that falls with it, as with the seals'
// drag, the way to turn would be the wrong one.
func (s *Sheet) findSet() {
	s.sets = map[place][]derivation{}
	for _, d := range s.derived {
		for _, in := range d.expr.Inputs() {
			slope, linear := d.expr.Slope(in)
			for _, p := range s.places {
				k := s.check(p)
				if linear && slope > 0 && k.ID == in.ID && s.positionName(p) == in.Position && k.Method == method.Drag && k.Adjuster != nil {
					s.sets[p] = append(s.sets[p], d)
				}
			}
		}
	}
}

// aim is what p is adjusted for at a stage: the tag of the takes that judge it and the
// limits as its method takes them. It is p's own check, or where that has no limits the
// preload that is worked out from it.
func (s *Sheet) aim(p place, stage string) (ledger.Tag, method.Spec) {
	own := s.spec(p, stage)
	if own.Limits.None() {
		for _, d := range s.sets[p] {
			q := place{d.component, d.check, 0}
			if spec := s.spec(q, stage); !spec.Limits.None() {
				spec.Method = own.Method // more of it is tighter, as with the drag
				return s.tag(q, stage), spec
			}
		}
	}
	return s.tag(p, stage), own
}

// sameSetting tells whether a new version of the files leaves what is set at p, which is
// q there, as it was: a guide speaks of its limits and its thread, and counts its steps.
func (s *Sheet) sameSetting(t *Sheet, p, q place, stage string) bool {
	tag, a := s.aim(p, stage)
	tag2, b := t.aim(q, stage)
	return tag == tag2 && a.Limits == b.Limits && a.Unit == b.Unit && a.Confidence == b.Confidence &&
		reflect.DeepEqual(s.adjuster(p, stage), t.adjuster(q, stage))
}

// adjuster is what is turned at p, nil for nothing: where a preload is worked out from
// two places of one check, its adjuster is not that of the seals alone.
func (s *Sheet) adjuster(p place, stage string) *config.Adjuster {
	a := s.check(p).Adjuster
	if a == nil || !s.spec(p, stage).Limits.None() || len(s.sets[p]) > 0 {
		return a
	}
	for q := range s.sets {
		if q.component == p.component && q.check == p.check {
			return nil
		}
	}
	return a
}
