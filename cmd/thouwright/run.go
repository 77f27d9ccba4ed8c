package main

import "errors"

type runCmd struct{}

func (c *runCmd) Run(ctx *runContext) error { return errors.New("run: being built") }
