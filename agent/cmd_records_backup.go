package main

import (
	"context"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
)

type recordsBackupCmd struct {
	bookFlags
	Replace bool
	File    string `arg:"" name:"FILE" type:"path"`
}

// Run copies the logbook.
func (c *recordsBackupCmd) Run(ctx context.Context, p *program) error {
	path, _, err := c.load()
	if err != nil {
		return err
	}
	return c.reading(ctx, func(r *logbook.Reader, cfg *config.Config) error {
		if err := records.Backup(ctx, r, path, c.File, c.Replace); err != nil {
			return err
		}
		return records.WriteBackedUp(ctx, p.stdout, voiceOf(cfg, false), c.File)
	})
}
