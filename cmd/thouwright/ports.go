package main

import "errors"

type portsCmd struct{}

func (c *portsCmd) Run(ctx *runContext) error { return errors.New("ports: being built") }
