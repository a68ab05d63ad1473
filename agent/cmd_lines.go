package main

import (
	"os"
	"os/user"
	"strconv"

	"bayward/agent/lines"
)

type linesCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE"`
	To     string `type:"path" placeholder:"FILE"`
	User   string `placeholder:"NAME"`
}

// Run writes the list.
func (c *linesCmd) Run(p *program) error {
	uid := os.Getuid()
	if c.User != "" {
		u, err := user.Lookup(c.User)
		if err != nil {
			return wrong("user", err)
		}
		if uid, err = strconv.Atoi(u.Uid); err != nil {
			return failed("user-number", c.User, err)
		}
	}
	return lines.Write(c.Config, c.To, uid, p.stdout, p.stderr)
}
