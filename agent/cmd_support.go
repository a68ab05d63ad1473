package main

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"time"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/support"
	"bayward/agent/usage"
)

type supportCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE"`
	Days   int    `default:"14" placeholder:"NUMBER"`
	File   string `arg:"" name:"FILE" type:"path"`
}

// Run writes the bundle. A file that is there is not replaced, and one that could not be
// written whole does not stay.
func (c *supportCmd) Run(ctx context.Context, p *program) error {
	if c.Days < 1 || c.Days > 366 {
		return wrong("support-days", c.Days)
	}
	if _, err := os.Stat(c.Config); err != nil {
		return usage.Error(err)
	}
	cfg, err := config.Load(c.Config)
	faults, refused := errors.AsType[*config.Error](err)
	if err != nil && !refused {
		return usage.Error(err)
	}
	parts, secrets := []support.Part{support.Version(version())}, support.NewSecrets()
	if refused { // nobody can name its secrets, and the journal may have them
		parts = append(parts, support.Refused(faults))
	} else {
		secrets = support.SecretsOf(cfg)
		since := time.Now().AddDate(0, 0, -c.Days)
		parts = append(append(parts, support.Configuration(cfg)), support.Record(cfg.Logbook.Path, logbook.Query{Since: since})...)
		parts = append(parts, support.Machine()...)
	}
	f, err := os.OpenFile(c.File, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return wrong("support-there", c.File)
	}
	if err != nil {
		return err
	}
	if err := errors.Join(support.Write(ctx, f, parts, secrets, time.Now()), f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(c.File))
	}
	_, err = p.stdout.Write([]byte(voiceOf(cfg, false).Say("support.written", c.File) + "\n"))
	return err
}
