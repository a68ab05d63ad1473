package main

import (
	"context"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
)

type recordsBackupCmd struct {
	bookFlags
	Replace bool   `help:"Replace FILE if it is there; only once the new copy is whole."`
	File    string `arg:"" name:"FILE" type:"path" help:"Where the copy goes."`
}

// Help is the long text of --help.
func (recordsBackupCmd) Help() string {
	return `The copy is of one moment, also while an agent writes, is checked before it gets its name, and is a logbook of its own: every command reads it with --logbook.

The copy does not know what happens after it was made, so bays that start with it are on hold until a person has looked. To restore: stop the agent, move the old logbook and its -journal file away (also -wal and -shm, which an earlier version left), copy the backup to the logbook's place, give it to the agent's user, start the agent.`
}

// Run copies the logbook.
func (c *recordsBackupCmd) Run(ctx context.Context, p *program) error {
	path, _, err := c.load()
	if err != nil {
		return err
	}
	return c.reading(ctx, func(r *logbook.Reader, _ *config.Config) error {
		if err := records.Backup(ctx, r, path, c.File, c.Replace); err != nil {
			return err
		}
		return records.WriteBackedUp(ctx, p.stdout, c.File)
	})
}
