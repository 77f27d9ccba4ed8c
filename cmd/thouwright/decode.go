package main

import "errors"

type decodeCmd struct{}

func (c *decodeCmd) Run(ctx *runContext) error { return errors.New("decode: being built") }
