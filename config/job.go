package config

import (
	"thouwright/internal/form"
	"thouwright/internal/metrology"
	"thouwright/internal/quantity"
	"thouwright/internal/rules"
)

// Job is a job sheet. Its JSON has the sheet's own words, so that the page can
// make one.
type Job struct {
	File     string   `toml:"-" json:"-"`
	Number   string   `toml:"number" json:"number,omitempty"`
	Customer string   `toml:"customer" json:"customer,omitempty"`
	Machine  string   `toml:"machine" json:"machine,omitempty"`
	Assembly string   `toml:"assembly" json:"assembly,omitempty"`
	Operator string   `toml:"operator" json:"operator,omitempty"`
	Stages   []string `toml:"stages" json:"stages,omitempty"`
	// Conditions are those of the whole job, as 'shop at 18 °C, parts there overnight'.
	Conditions string `toml:"conditions" json:"conditions,omitempty"`
	// Room is the temperature of the shop, and of all that lies in it.
	Room *quantity.Measured `toml:"room" json:"room,omitempty"`

	Components []Component `toml:"component" json:"component,omitempty"`
	Notes      []Note      `toml:"note" json:"note,omitempty"`
	Rules      []Rule      `toml:"rule" json:"rule,omitempty"`

	lines form.Lines
}

// Component is a part being measured.
type Component struct {
	Name          string             `toml:"name" json:"name,omitempty"`
	Material      *Material          `toml:"material" json:"material,omitempty"`
	Temperature   *quantity.Measured `toml:"temperature" json:"temperature,omitempty"`
	SinceHandling *Handling          `toml:"since_handling" json:"since_handling,omitempty"`
	Checks        []Check            `toml:"check" json:"check,omitempty"`
}

// Check is one thing to be measured on a component, at each of its positions.
type Check struct {
	ID          string                    `toml:"id" json:"id,omitempty"`
	Name        string                    `toml:"name" json:"name,omitempty"`
	Method      string                    `toml:"method" json:"method,omitempty"`
	Gauge       string                    `toml:"gauge" json:"gauge,omitempty"`
	Minus       string                    `toml:"minus" json:"minus,omitempty"`
	Positions   []string                  `toml:"positions" json:"positions,omitempty"`
	Limits      *quantity.Range           `toml:"limits" json:"limits,omitempty"`
	Fit         string                    `toml:"fit" json:"fit,omitempty"`
	StageLimits map[string]quantity.Range `toml:"stage_limits" json:"stage_limits,omitempty"`
	Source      string                    `toml:"source" json:"source,omitempty"`
	Strokes     int                       `toml:"strokes" json:"strokes,omitempty"`
	MaxStrokes  int                       `toml:"max_strokes" json:"max_strokes,omitempty"`
	Advance     string                    `toml:"advance" json:"advance,omitempty"` // pause, at once, switch
	Confidence  float64                   `toml:"confidence" json:"confidence,omitempty"`
	Rule        metrology.Rule            `toml:"rule" json:"rule,omitempty"`
	Condition   string                    `toml:"condition" json:"condition,omitempty"`
	Tilt        string                    `toml:"tilt" json:"tilt,omitempty"` // "3 deg" known, "..3 deg" bounded
	Direction   string                    `toml:"direction" json:"direction,omitempty"`
	Adjuster    *Adjuster                 `toml:"adjuster" json:"adjuster,omitempty"`

	// size
	Master    *quantity.Quantity `toml:"master" json:"master,omitempty"`
	MasterU95 *quantity.Quantity `toml:"master_u95" json:"master_u95,omitempty"`
	Sense     string             `toml:"sense" json:"sense,omitempty"`
	Expect    *quantity.Range    `toml:"expect" json:"expect,omitempty"`
	Turning   string             `toml:"turning" json:"turning,omitempty"`
	// size, to refer it to 20 °C; the part's keys may stand at its component
	Material          *Material          `toml:"material" json:"material,omitempty"`
	Temperature       *quantity.Measured `toml:"temperature" json:"temperature,omitempty"`
	SinceHandling     *Handling          `toml:"since_handling" json:"since_handling,omitempty"`
	GaugeTemperature  *quantity.Measured `toml:"gauge_temperature" json:"gauge_temperature,omitempty"`
	MasterMaterial    *Material          `toml:"master_material" json:"master_material,omitempty"`
	MasterTemperature *quantity.Measured `toml:"master_temperature" json:"master_temperature,omitempty"`
	// run-out
	Stations int `toml:"stations" json:"stations,omitempty"`
	// drag
	Arm     *quantity.Quantity `toml:"arm" json:"arm,omitempty"`
	ArmU95  *quantity.Quantity `toml:"arm_u95" json:"arm_u95,omitempty"`
	Compare string             `toml:"compare" json:"compare,omitempty"` // breakaway, running (default), peak, over centre
	// derived
	Value string `toml:"value" json:"value,omitempty"`
}

// Note is what no gauge sees: a finding, work done, a part renewed, something to
// watch. The record prints it.
type Note struct {
	Kind      string `toml:"kind" json:"kind,omitempty"` // NoteKinds; found where not given
	Stage     string `toml:"stage" json:"stage,omitempty"`
	Component string `toml:"component" json:"component,omitempty"`
	Text      string `toml:"text" json:"text,omitempty"`
	Photo     string `toml:"photo" json:"photo,omitempty"` // a file in the job's folder: photos/seal.jpg
}

// NoteKinds are the kinds of a note. One entered at the page is of a kind where
// its words begin with it and a colon: 'renewed: both seals'. A sum is one that
// was worked out and used, as the page keeps it: its title, a full stop, the rest.
var NoteKinds = []string{"found", "done", "renewed", "watch", NoteSum}

// NoteSum is the kind of a note that is no finding but a sum.
const NoteSum = "sum"

// Adjuster is what is turned to set end play or drag.
type Adjuster struct {
	Pitch *quantity.Quantity `toml:"pitch" json:"pitch,omitempty"`
	TPI   float64            `toml:"tpi" json:"tpi,omitempty"`
	Hand  string             `toml:"hand" json:"hand,omitempty"` // right (default) or left
	Slots int                `toml:"slots" json:"slots,omitempty"`
	Holes int                `toml:"holes" json:"holes,omitempty"`
	Steps []string           `toml:"steps" json:"steps,omitempty"`
}

// Rule is the user's own rule, on top of the limits.
type Rule = rules.Rule
