package config

import (
	"fmt"
	"sort"
	"strings"

	"thouwright/internal/method"
	"thouwright/internal/quantity"
)

// Template is a ready component with its checks, for making a job without
// writing one. Roles are the gauges it needs; limits that are the maker's to
// give are left open.
type Template struct {
	ID     string   `json:"id"`
	Name   string   `json:"name"`   // what a person picks from
	Help   string   `json:"help"`   // what it measures and what it takes
	Roles  []Role   `json:"roles"`  // gauges to be named
	Part   string   `json:"part"`   // a usual name of the component
	Places []string `json:"places"` // usual positions
	Checks []Check  `json:"checks"` // Gauge holds a role's ID, positions are empty where Places go
}

// Role is a gauge a template needs.
type Role struct {
	ID   string        `json:"id"`
	Name string        `json:"name"`
	Kind quantity.Kind `json:"-"`
}

var (
	roleDial   = Role{"dial", "dial or lever indicator on a stand", quantity.Length}
	roleOuter  = Role{"outer", "micrometer or caliper", quantity.Length}
	roleBore   = Role{"bore", "bore gauge", quantity.Length}
	roleForce  = Role{"force", "force gauge", quantity.Force}
	roleTorque = Role{"torque", "torque gauge", quantity.Torque}
)

// Templates lists the ready components.
func Templates() []Template {
	dial := []Role{roleDial}
	return []Template{{
		ID: "bush-play", Name: "Play of a shaft in bushes",
		Help:  "Rock the shaft from stop to stop with the indicator against it, close to the bush. One take at each position.",
		Roles: dial, Part: "shaft", Places: []string{"upper bush", "lower bush"},
		Checks: []Check{{ID: "play", Name: "play in bushes", Method: method.Play, Gauge: "dial"}},
	}, {
		ID: "stiff-play", Name: "Play with the bending taken out",
		Help:  "Rock with the usual hand force, then with twice that. What bends grows with the force and the play does not: the play at no force is twice the first less the second.",
		Roles: dial, Part: "shaft", Places: []string{"usual force", "double force"},
		Checks: []Check{
			{ID: "play", Name: "play as rocked", Method: method.Play, Gauge: "dial"},
			{Name: "play without bending", Method: method.Derived, Value: `2 * play[{first}] - play[{last}]`},
		},
	}, {
		ID: "clearance", Name: "Clearance from bore and diameter",
		Help:  "Measure the shaft and the bore at the same places; the clearance is worked out with its uncertainty.",
		Roles: []Role{roleOuter, roleBore}, Part: "shaft and bush", Places: []string{"upper", "lower"},
		Checks: []Check{
			{ID: "shaft", Name: "shaft diameter", Method: method.Size, Gauge: "outer"},
			{ID: "bore", Name: "bore", Method: method.Size, Gauge: "bore", Turning: "least"},
			{Name: "clearance", Method: method.Derived, Value: `bore[{place}] - shaft[{place}]`},
		},
	}, {
		ID: "ovality", Name: "Ovality",
		Help:  "Measure the diameter across and along the load, at the same height; the difference is the ovality.",
		Roles: []Role{roleOuter}, Part: "shaft", Places: []string{"along the load", "across the load"},
		Checks: []Check{
			{ID: "dia", Name: "diameter", Method: method.Size, Gauge: "outer"},
			{Name: "ovality", Method: method.Derived, Value: `max({all dia}) - min({all dia})`},
		},
	}, {
		ID: "taper", Name: "Taper",
		Help:  "Measure the diameter at both ends of the seat, in the same direction; the difference is the taper.",
		Roles: []Role{roleOuter}, Part: "shaft", Places: []string{"inner end", "outer end"},
		Checks: []Check{
			{ID: "dia", Name: "diameter", Method: method.Size, Gauge: "outer"},
			{Name: "taper", Method: method.Derived, Value: `max({all dia}) - min({all dia})`},
		},
	}, {
		ID: "hub-end-play", Name: "Hub end play, set by a nut",
		Help:  "Push and pull the hub with the indicator against its face while the nut is set; the take for the verdict is made after locking.",
		Roles: dial, Part: "front hub", Places: []string{"hub face"},
		Checks: []Check{{ID: "end_play", Name: "end play", Method: method.EndPlay, Gauge: "dial",
			Adjuster: &Adjuster{Hand: DefaultHand, Steps: []string{"tighten as the maker says while turning the hub", "back off as the maker says", "turn the hub five times to seat the rollers", "lock with a new split pin", "measure"}}}},
	}, {
		ID: "run-out", Name: "Run-out",
		Help:  "Turn the part slowly by hand through at least one whole turn with the indicator against it; drive isolated.",
		Roles: dial, Part: "pulley", Places: []string{"rim"},
		Checks: []Check{{ID: "run_out", Name: "run-out", Method: method.RunOut, Gauge: "dial"}},
	}, {
		ID: "drag-force", Name: "Turning drag, pulled at an arm",
		Help:  "Pull slowly and evenly at a known distance from the axis; breakaway, running and peak are kept apart.",
		Roles: []Role{roleForce}, Part: "swivel", Places: []string{"lock to lock"},
		Checks: []Check{{ID: "drag", Name: "turning drag", Method: method.Drag, Gauge: "force", Compare: DefaultCompare}},
	}, {
		ID: "drag-torque", Name: "Turning drag with a torque gauge",
		Help:  "Turn slowly and evenly; breakaway, running and peak are kept apart.",
		Roles: []Role{roleTorque}, Part: "bearing", Places: []string{"whole turn"},
		Checks: []Check{{ID: "drag", Name: "turning drag", Method: method.Drag, Gauge: "torque", Compare: DefaultCompare}},
	}, {
		ID: "preload", Name: "Preload of bearings, from drag",
		Help:  "No end play hides a preload. Measure the drag with the seals alone, then with the bearings set: the difference is the preload's drag, which the maker's figure is held against and the nut is set by.",
		Roles: []Role{roleTorque}, Part: "bearing", Places: []string{"seals alone", "bearings set"},
		Checks: []Check{
			{ID: "drag", Name: "turning drag", Method: method.Drag, Gauge: "torque", Compare: DefaultCompare,
				Adjuster: &Adjuster{Hand: DefaultHand, Steps: []string{"tighten as the maker says while turning the bearing", "turn five times to seat the rollers", "lock", "measure"}}},
			{Name: "drag of the preload", Method: method.Derived, Value: `drag[{last}] - drag[{first}]`},
		},
	}, {
		ID: "over-centre", Name: "Preload over centre",
		Help:  "A steering gear is tight in the middle of its travel and free off it. Turn slowly from one side to the other, most of the way off centre: what counts is the peak less the level off it.",
		Roles: []Role{roleTorque}, Part: "steering gear", Places: []string{"lock to lock"},
		Checks: []Check{{ID: "drag", Name: "drag over centre", Method: method.Drag, Gauge: "torque", Compare: method.OverCentre}},
	}}
}

// Component makes the template's component for a job: name and places are the
// person's ("" and nil: the usual ones), gauges maps role to gauge, and ids are
// kept apart from those the job has. Limits are left to be filled in.
func (t Template) Component(j *Job, name string, places []string, gauges map[string]string) (Component, error) {
	if name == "" {
		name = t.Part
	}
	if len(places) == 0 {
		places = t.Places
	}
	for _, r := range t.Roles {
		if gauges[r.ID] == "" {
			return Component{}, fmt.Errorf("%s: name the gauge: %s", t.Name, r.Name)
		}
	}
	taken := map[string]bool{}
	for _, c := range j.Components {
		for _, ch := range c.Checks {
			taken[ch.ID] = true
		}
	}
	ids := map[string]string{}
	for _, c := range t.Checks {
		if c.ID != "" {
			ids[c.ID] = freeID(c.ID, taken)
		}
	}
	out := Component{Name: name}
	for _, c := range t.Checks {
		c.ID, c.Gauge = ids[c.ID], gauges[c.Gauge]
		if c.Adjuster != nil {
			a := *c.Adjuster
			c.Adjuster = &a
		}
		switch {
		case strings.Contains(c.Value, "{place}"):
			for _, p := range places {
				at := c
				at.Name = c.Name + ", " + p
				at.Value = withIDs(strings.ReplaceAll(c.Value, "{place}", fmt.Sprintf("%q", p)), ids)
				out.Checks = append(out.Checks, at)
			}
			continue
		case c.Value != "":
			c.Value = strings.NewReplacer("{first}", fmt.Sprintf("%q", places[0]), "{last}", fmt.Sprintf("%q", places[len(places)-1])).Replace(c.Value)
			c.Value = withIDs(allPlaces(c.Value, ids, places), ids)
		default:
			c.Positions = append([]string(nil), places...)
		}
		out.Checks = append(out.Checks, c)
	}
	return out, nil
}

func freeID(id string, taken map[string]bool) string {
	free := id
	for n := 2; taken[free]; n++ {
		free = fmt.Sprintf("%s_%d", id, n)
	}
	taken[free] = true
	return free
}

// withIDs puts the job's ids in front of the brackets of an expression.
func withIDs(value string, ids map[string]string) string {
	var old []string
	for id := range ids {
		old = append(old, id)
	}
	sort.Strings(old)
	var pairs []string
	for _, id := range old {
		pairs = append(pairs, id+"[", ids[id]+"[")
	}
	return strings.NewReplacer(pairs...).Replace(value)
}

// allPlaces writes out {all id}: the results of a check at every place.
func allPlaces(value string, ids map[string]string, places []string) string {
	for id, now := range ids {
		var refs []string
		for _, p := range places {
			refs = append(refs, fmt.Sprintf("%s[%q]", now, p))
		}
		value = strings.ReplaceAll(value, "{all "+id+"}", strings.Join(refs, ", "))
	}
	return value
}
