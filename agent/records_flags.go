package main

import (
	"cmp"
	"context"
	"errors"
	"io/fs"
	"time"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/usage"
	"bayward/agent/words"
)

// bookFlags say which logbook is meant.
type bookFlags struct {
	Config  string `type:"path" placeholder:"FILE"`
	Logbook string `type:"path" placeholder:"FILE"`
}

// load gives the logbook's path, and the configuration where one was named.
func (f *bookFlags) load() (path string, cfg *config.Config, err error) {
	if f.Config == "" && f.Logbook == "" {
		return "", nil, wrong("which-logbook")
	}
	if f.Config == "" {
		return f.Logbook, nil, nil
	}
	if cfg, err = config.Load(f.Config); err != nil {
		return "", nil, usage.Error(err)
	}
	return cmp.Or(f.Logbook, cfg.Logbook.Path), cfg, nil
}

// reading opens the logbook beside whoever writes it, and closes it after do.
func (f *bookFlags) reading(ctx context.Context, do func(*logbook.Reader, *config.Config) error) error {
	path, cfg, err := f.load()
	if err != nil {
		return err
	}
	r, err := logbook.OpenReadOnly(ctx, path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return wrong("no-logbook", path)
	case errors.Is(err, logbook.ErrNewer), errors.Is(err, logbook.ErrOlder), errors.Is(err, logbook.ErrForeign):
		return usage.Error(err)
	case err != nil:
		return err
	}
	return errors.Join(do(r, cfg), r.Close())
}

// rangeFlags choose rows.
type rangeFlags struct {
	Pack  string `placeholder:"NAME"`
	Bay   string `placeholder:"NAME"`
	Since string `placeholder:"WHEN"`
	Until string `placeholder:"WHEN"`
}

func (f *rangeFlags) query() (logbook.Query, error) {
	q := logbook.Query{Pack: f.Pack, Bay: f.Bay}
	now := time.Now()
	var err error
	if q.Since, err = records.When(f.Since, now, time.Local); err != nil {
		return q, wrong("since", err)
	}
	if q.Until, err = records.When(f.Until, now, time.Local); err != nil {
		return q, wrong("until", err)
	}
	if !q.Since.IsZero() && !q.Until.IsZero() && !q.Since.Before(q.Until) {
		return q, wrong("until-after", f.Until)
	}
	return q, nil
}

// voiceOf is how the person at the terminal reads: as the configuration says,
// where one was named. Programs always read English.
func voiceOf(cfg *config.Config, program bool) words.Voice {
	if cfg == nil || program {
		return words.EnglishSI()
	}
	return words.New(cfg.Language, cfg.Units)
}
