package main

import "errors"

type recordCmd struct{}

func (c *recordCmd) Run(ctx *runContext) error { return errors.New("record: being built") }
