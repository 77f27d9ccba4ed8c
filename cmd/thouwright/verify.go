package main

import "errors"

type verifyCmd struct{}

func (c *verifyCmd) Run(ctx *runContext) error { return errors.New("verify: being built") }
