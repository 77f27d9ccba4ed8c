package config

import (
	"thouwright/internal/form"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
)

// Job is a job sheet.
type Job struct {
	File     string   `toml:"-"`
	Number   string   `toml:"number"`
	Customer string   `toml:"customer"`
	Machine  string   `toml:"machine"`
	Assembly string   `toml:"assembly"`
	Operator string   `toml:"operator"`
	Stages   []string `toml:"stages"`

	Components []Component `toml:"component"`
	Rules      []Rule      `toml:"rule"`

	lines form.Lines
}

// Component is a part being measured.
type Component struct {
	Name   string  `toml:"name"`
	Checks []Check `toml:"check"`
}

// Check is one thing to be measured on a component, at each of its positions.
type Check struct {
	ID          string                    `toml:"id"`
	Name        string                    `toml:"name"`
	Method      string                    `toml:"method"`
	Gauge       string                    `toml:"gauge"`
	Minus       string                    `toml:"minus"`
	Positions   []string                  `toml:"positions"`
	Limits      *quantity.Range           `toml:"limits"`
	Fit         string                    `toml:"fit"`
	StageLimits map[string]quantity.Range `toml:"stage_limits"`
	Source      string                    `toml:"source"`
	Strokes     int                       `toml:"strokes"`
	MaxStrokes  int                       `toml:"max_strokes"`
	Advance     string                    `toml:"advance"` // pause, at once, switch
	Confidence  float64                   `toml:"confidence"`
	Rule        metrology.Rule            `toml:"rule"`
	Condition   string                    `toml:"condition"`
	Tilt        string                    `toml:"tilt"` // "3 deg" known, "..3 deg" bounded
	Direction   string                    `toml:"direction"`
	Adjuster    *Adjuster                 `toml:"adjuster"`

	// size
	Master    *quantity.Quantity `toml:"master"`
	MasterU95 *quantity.Quantity `toml:"master_u95"`
	Sense     string             `toml:"sense"`
	Expect    *quantity.Range    `toml:"expect"`
	Turning   string             `toml:"turning"`
	// run-out
	Stations int `toml:"stations"`
	// drag
	Arm     *quantity.Quantity `toml:"arm"`
	Compare string             `toml:"compare"` // breakaway, running (default), peak
	// derived
	Value string `toml:"value"`
}

// Adjuster is what is turned to set end play or drag.
type Adjuster struct {
	Pitch *quantity.Quantity `toml:"pitch"`
	TPI   float64            `toml:"tpi"`
	Hand  string             `toml:"hand"` // right (default) or left
	Slots int                `toml:"slots"`
	Holes int                `toml:"holes"`
	Steps []string           `toml:"steps"`
}

// Rule is the user's own rule, on top of the limits.
type Rule struct {
	When  string `toml:"when"`
	Say   string `toml:"say"`
	Sound string `toml:"sound"`
}
