package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"bayward/agent/config"
)

type checkCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE" help:"Configuration to read."`
	JSON   bool   `name:"json" help:"Print the effective configuration as JSON."`
}

// Help is the long text of --help.
func (checkCmd) Help() string {
	return `Every complaint names the file, the line, the field, the value and what is accepted. ` +
		`With a good file it says in a line for each bay what would be watched.`
}

// Run reads the file and says what it found.
func (c *checkCmd) Run(p *program) error {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return inputError{err}
	}
	if c.JSON {
		e := json.NewEncoder(p.stdout)
		e.SetIndent("", "  ")
		return e.Encode(cfg)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s is good: site %s, agent %s.\n", c.Config, cfg.Site, cfg.Agent)
	setups, err := cfg.Setups()
	if err != nil {
		return inputError{err}
	}
	for i := range setups {
		s := &setups[i]
		fmt.Fprintf(&b, "%s charges %s (%d cells, %.0f Ah): no charge below %.1f mm of cover or above %.0f °C; full at gravity %.3f; water to %.1f mm, vent floor at %.1f mm.\n",
			s.Name, s.Pack.Name, s.Pack.Cells, s.Pack.CapacityAh, s.Pack.ChargeCoverMM, s.Limits.ChargeMaxC,
			s.Pack.FullGravity, s.Pack.TargetCoverMM, s.Pack.VentFloorMM)
	}
	_, err = fmt.Fprint(p.stdout, b.String())
	return err
}
