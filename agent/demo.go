package main

import "errors"

type demoCmd struct{}

// Run is written next.
func (demoCmd) Run() error { return errors.New("not there yet") }

type runCmd struct{}

// Run is written next.
func (runCmd) Run() error { return errors.New("not there yet") }
