package main

import "errors"

type demoCmd struct{}

func (c *demoCmd) Run(ctx *runContext) error { return errors.New("demo: being built") }
