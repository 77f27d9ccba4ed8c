//go:build unix && !linux

package journal

import "errors"

var errNoMount = errors.New("only Linux mounts here")

func mountSmall(string, int64) error { return errNoMount }
func remountReadOnly(string) error   { return errNoMount }
func unmount(string) error           { return errNoMount }
