package main

import (
	"fmt"
	"os"
	"os/user"
	"strconv"

	"bayward/agent/lines"
	"bayward/agent/usage"
)

type linesCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE" help:"Configuration that names the lines."`
	To     string `type:"path" placeholder:"FILE" help:"File to replace, instead of standard output."`
	User   string `placeholder:"NAME" help:"User that the agent runs as, who may connect to the keeper; otherwise the one who calls."`
}

// Help is the long text of --help.
func (linesCmd) Help() string {
	return `bayward-keeper, the program that drives the relays, reads no configuration. It is started with a list of lines, which this writes: ` +
		`the agent's user, then for each bay its name, the line of its relay, and that of its heartbeat. It is for ExecStartPre in the keeper's systemd unit.

Lines that are only on the list that is replaced stay on it, marked "old", until the Pi is restarted. The keeper drives them low when it starts, ` +
		`because a relay may still be closed by one of them. From a refused configuration it takes what can still be read, marked in the same way. ` +
		`If no line is known, the exit code is 2.`
}

// Run writes the list.
func (c *linesCmd) Run(p *program) error {
	uid := os.Getuid()
	if c.User != "" {
		u, err := user.Lookup(c.User)
		if err != nil {
			return usage.Errorf("--user: %w", err)
		}
		if uid, err = strconv.Atoi(u.Uid); err != nil {
			return fmt.Errorf("--user: the number of user %s: %w", c.User, err)
		}
	}
	return lines.Write(c.Config, c.To, uid, p.stdout, p.stderr)
}
