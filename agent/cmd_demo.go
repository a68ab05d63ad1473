package main

import (
	"context"
	"time"

	"bayward/agent/demo"
)

type demoCmd struct {
	Speed   float64 `default:"600"`
	Listen  string  `default:"127.0.0.1:8080" placeholder:"HOST:PORT"`
	Broker  string  `default:"127.0.0.1:1883" placeholder:"HOST:PORT"`
	For     time.Duration
	Logbook string `type:"path" placeholder:"FILE"`
	Bays    int    `default:"4"`
	Agents  int    `default:"1"`
	ByHand  bool
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
		Speed: c.Speed, Listen: c.Listen, Broker: c.Broker, Logbook: c.Logbook, Bays: c.Bays, Agents: c.Agents, ByHand: c.ByHand, Version: version(),
	}, p.stdout, p.stderr)
}
