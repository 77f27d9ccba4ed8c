//go:build !unix

package bench

import "time"

// cpuTime is not measured here.
func cpuTime() time.Duration { return 0 }
