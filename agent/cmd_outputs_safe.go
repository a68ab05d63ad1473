package main

import (
	"log/slog"

	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/agent/safestop"
	"bayward/sensors"
)

type outputsSafeCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE" help:"Configuration that names the lines."`
}

// Help is the long text of --help.
func (outputsSafeCmd) Help() string {
	return `The kernel of a Pi keeps an output driven after the program that drove it has died, so a relay could stay closed. ` +
		`This drives every relay and every heartbeat low and exits. It is for ExecStopPost in the systemd unit, ` +
		`which runs however the agent ended. It reads no sensor and opens no record.

The lines are those that the last agent of the service has driven, even if the configuration was changed or damaged since, and those of the ` +
		`configuration. From a refused one it takes what can still be read; if no agent has left a list either, the exit code is 2. ` +
		`A line that cannot be driven does not stop the others; it is named, and the exit code is 1.`
}

// Run opens all relays.
func (c *outputsSafeCmd) Run(p *program) error {
	log := slog.New(slog.DiscardHandler) // a driver that is missing shows in the lines that are not found
	return safestop.Drive(c.Config, p.stdout, p.stderr, func(cfg *config.Config) (sensors.Hardware, error) {
		hw, _, err := hardware.Open(cfg, log)
		return hw, err
	})
}
