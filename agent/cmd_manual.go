package main

import (
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"bayward/agent/manual"
)

// manualCmd prints the manual page for the package.
type manualCmd struct {
	Date string `required:"" placeholder:"YYYY-MM-DD"`
}

// Run prints the page.
func (c *manualCmd) Run(k *kong.Context, p *program) error {
	day, err := time.Parse(time.DateOnly, c.Date)
	if err != nil {
		return wrong("date", c.Date)
	}
	intro, _, _ := strings.Cut(p.voice.Say("cli.about"), "\n\nExit codes:") // the page has a section of its own for them
	return manual.WritePage(p.stdout, k.Model.Node, intro, day)
}

// completionCmd prints the completion of a shell for the package.
type completionCmd struct {
	Shell string `arg:"" optional:"" name:"SHELL" enum:"bash,zsh,fish" default:"bash"`
}

// Run prints the script.
func (c *completionCmd) Run(k *kong.Context, p *program) error {
	return manual.WriteCompletion(p.stdout, k.Model.Node, c.Shell)
}
