package config

import "embed"

// Example is an example bench (example/bench.toml) and its job sheets: the
// front axle of the Tarnbeck T28, an invented tractor.
//
//go:embed example/bench.toml example/jobs/*.toml
var Example embed.FS
