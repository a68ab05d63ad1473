package main

import (
	"fmt"
	"log/slog"

	"bayward/agent/config"
	"bayward/sensors"
)

type outputsSafeCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE" help:"Configuration that names the lines."`
}

// Help is the long text of --help.
func (outputsSafeCmd) Help() string {
	return `The kernel of a Pi keeps an output driven after the program that drove it has died, so a relay could stay closed. ` +
		`This drives every relay and every heartbeat of the configuration low and leaves. It is for ExecStopPost in the systemd unit, ` +
		`which runs however the agent ended. It reads no sensor and opens no record. ` +
		`A line that cannot be driven does not keep it from the others; it is named, and the exit code is 1.`
}

// Run opens all relays.
func (c *outputsSafeCmd) Run(p *program) error {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return inputError{err}
	}
	hw, _, err := hardware(cfg, slog.New(slog.NewTextHandler(p.stderr, nil)))
	if err != nil {
		return err
	}
	if err := sensors.OutputsSafe(cfg, hw); err != nil {
		return fmt.Errorf("not all outputs are safe: %w", err)
	}
	relays, hearts := 0, 0
	for i := range cfg.Bays {
		relays++
		if r := cfg.Bays[i].Wiring.Relay; r != nil && r.Heartbeat != "" {
			hearts++
		}
	}
	_, err = fmt.Fprintf(p.stdout, "Driven low: relays %d, heartbeats %d.\n", relays, hearts)
	return err
}
