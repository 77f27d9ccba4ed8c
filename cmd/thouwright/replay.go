package main

import "errors"

type replayCmd struct{}

func (c *replayCmd) Run(ctx *runContext) error { return errors.New("replay: being built") }
