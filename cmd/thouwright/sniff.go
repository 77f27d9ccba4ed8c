package main

import "errors"

type sniffCmd struct{}

func (c *sniffCmd) Run(ctx *runContext) error { return errors.New("sniff: being built") }
