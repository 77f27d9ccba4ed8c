package main

import "errors"

type calcCmd struct{}

func (c *calcCmd) Run(ctx *runContext) error { return errors.New("calc: being built") }
