package main

import "errors"

type checkCmd struct{}

func (c *checkCmd) Run(ctx *runContext) error { return errors.New("check: being built") }
