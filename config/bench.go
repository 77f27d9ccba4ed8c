// Package config reads, checks and watches the two files a person writes: the
// bench file (the gauges and the room) and the job sheet (the work). Every
// mistake is one line: file, line, what was found, what is expected, what to do.
package config

import (
	"time"

	"thouwright/internal/form"
	"thouwright/internal/quantity"
)

// Bench is bench.toml.
type Bench struct {
	File        string `toml:"-"` // where it was read from
	LogDir      string `toml:"log_dir"`
	JobDir      string `toml:"job_dir"`
	DisplayUnit string `toml:"display_unit"`
	DriverDir   string `toml:"driver_dir"`

	Gauges []Gauge `toml:"gauge"`
	Switch *Switch `toml:"switch"`
	Sound  Sound   `toml:"sound"`
	Page   Page    `toml:"page"`

	lines form.Lines
}

// Gauge is one [[gauge]]. Quantities that were not given are nil.
type Gauge struct {
	Name          string             `toml:"name"`
	Port          string             `toml:"port"`
	Channel       string             `toml:"channel"`
	Driver        string             `toml:"driver"`
	Line          string             `toml:"line"`
	Unit          quantity.Unit      `toml:"unit"`
	Step          *quantity.Quantity `toml:"step"`
	Range         *quantity.Range    `toml:"range"`
	Error         *quantity.Quantity `toml:"error"`
	ErrorLocal    *LocalError        `toml:"error_local"`
	Hysteresis    *quantity.Quantity `toml:"hysteresis"`
	Repeatability *quantity.Quantity `toml:"repeatability"`
	RestSeconds   float64            `toml:"rest_seconds"`  // a rest lasts so long; 0.35 where not given
	RestReadings  int                `toml:"rest_readings"` // and so many readings; 3 where not given
	Material      *Material          `toml:"material"`      // of its scale or frame; steel where not given
	Certificate   string             `toml:"certificate"`
	Due           Date               `toml:"due"`
}

// LocalError is "0.0002 in over 0.010 in": the largest error of a difference
// between two readings no further apart than Over.
type LocalError struct {
	Error, Over quantity.Quantity
}

// Date is a local date, with or without quotes in the file.
type Date struct{ time.Time }

// Switch is a foot switch: on a control line of a gauge's port, or a pedal
// that acts as a keyboard.
type Switch struct {
	Gauge string `toml:"gauge"`
	Line  string `toml:"line"` // CTS DSR DCD RI
	Port  string `toml:"port"` // keys:/dev/input/…
}

// Sound is [sound].
type Sound struct {
	Output string          `toml:"output"` // auto pulse bell none
	Volume float64         `toml:"volume"`
	Speech bool            `toml:"speech"`
	Mute   bool            `toml:"mute"`
	Cues   map[string]bool `toml:"cues"` // an event's name = false silences it
}

// AllCues tells of every cue whether it is on.
func (s Sound) AllCues() map[string]bool {
	all := map[string]bool{}
	for _, name := range CueNames {
		on, told := s.Cues[name]
		all[name] = on || !told
	}
	return all
}

// Page is [page].
type Page struct {
	Listen string `toml:"listen"`
}
