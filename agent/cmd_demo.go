package main

import (
	"context"
	"time"

	"bayward/agent/demo"
)

type demoCmd struct {
	Speed   float64       `default:"600" help:"Simulated seconds in a second, 1 to 3600."`
	Listen  string        `default:"127.0.0.1:8080" placeholder:"HOST:PORT" help:"Address of page and metrics; port 0 takes a free one (${default})."`
	Broker  string        `default:"127.0.0.1:1883" placeholder:"HOST:PORT" help:"Address of the broker in the program; port 0 takes a free one (${default})."`
	For     time.Duration `help:"End after this much real time; 0 runs until an interrupt."`
	Logbook string        `type:"path" placeholder:"FILE" help:"Keep the record in this new file, for bayward records; otherwise it is thrown away."`
	Bays    int           `default:"4" help:"How many bays, 1 to 1000; many are for load, best with --speed 1 (${default})."`
	ByHand  bool          `help:"You do the technician's work, on the page."`
}

// Help is the long text of --help.
func (demoCmd) Help() string {
	return `Four simulated bays run through the real drivers, the real core and all outputs, with an MQTT broker inside the program. ` +
		`One pack arrives with bare plates and one bay's level probe is broken, so both are refused their charge; the others are further on. ` +
		`A simulated technician covers plates, repairs the probe and waters the packs; after a rest the machines go to work and come back. ` +
		`Everything is invented, and nothing is kept, unless --logbook names a file for the record.`
}

// Run shows the round.
func (c *demoCmd) Run(ctx context.Context, p *program) error {
	if c.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, c.For)
		defer cancel()
	}
	outliveReaders()
	return demo.Run(ctx, &demo.Options{
		Speed: c.Speed, Listen: c.Listen, Broker: c.Broker, Logbook: c.Logbook, Bays: c.Bays, ByHand: c.ByHand, Version: version(),
	}, p.stdout, p.stderr)
}
