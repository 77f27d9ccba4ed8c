package main

import "errors"

type proofCmd struct{}

func (c *proofCmd) Run(ctx *runContext) error { return errors.New("proof: being built") }
