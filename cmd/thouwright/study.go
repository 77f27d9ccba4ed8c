package main

import "errors"

type studyCmd struct{}

func (c *studyCmd) Run(ctx *runContext) error { return errors.New("study: being built") }
