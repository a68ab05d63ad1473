//go:build linux

package main

import (
	"errors"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"

	"bayward/deploy/emulated/control"
)

// pair is the part of systemd that starts the keeper before the agent.
type pair struct{ keeper, agent *unit }

// loadPair reads the packaged units.
func loadPair(report func(control.Event)) (*pair, error) {
	keeper, err1 := loadUnit(control.Keeper, report)
	agent, err2 := loadUnit(control.Agent, report)
	return &pair{keeper, agent}, errors.Join(err1, err2)
}

func loadUnit(name control.Unit, report func(control.Event)) (*unit, error) {
	f, err := os.Open(filepath.Join(control.UnitFolder, string(name)))
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }()
	file, err := readService(f)
	return newUnit(name, file, report), err
}

func (p *pair) unit(name control.Unit) *unit {
	if name == control.Keeper {
		return p.keeper
	}
	return p.agent
}

func (p *pair) start(config string) error {
	if err := os.WriteFile(control.ConfigPath, []byte(config), 0o600); err != nil {
		return err
	}
	if err := p.keeper.start(); err != nil && !errors.Is(err, errRuns) {
		return err
	}
	return p.agent.start()
}

func (p *pair) stop() error { return p.agent.stop() }

func (p *pair) signal(name control.Unit, s unix.Signal) error { return p.unit(name).signal(s) }

func (p *pair) supervise(name control.Unit, stopAction, restart bool) error {
	p.unit(name).supervise(stopAction, restart)
	return nil
}

func (p *pair) runStopAction() control.Event { return run(p.keeper.file.stopPost) }

var _ manager = (*pair)(nil)
