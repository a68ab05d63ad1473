package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"bayward/agent/config"
	"bayward/mqtt/broker"
	"bayward/sensors/sim"
)

// demo is the agents of a yard on one broker.
type demo struct {
	*demoAgent // the first
	others     []*demoAgent
	broker     *broker.Broker
}

// agents returns those that could be made.
func (d *demo) agents() []*demoAgent {
	if d.demoAgent == nil {
		return nil
	}
	return append([]*demoAgent{d.demoAgent}, d.others...)
}

// close ends the agents, then the broker.
func (d *demo) close() (err error) {
	for _, one := range d.agents() {
		err = errors.Join(err, one.Close())
	}
	return errors.Join(err, d.broker.Close())
}

// oneAtATime lets several agents write their lines to one terminal.
type oneAtATime struct {
	mu sync.Mutex // guards w
	w  io.Writer
}

// Write implements io.Writer.
func (o *oneAtATime) Write(b []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.w.Write(b)
}

// run runs all agents until ctx ends or one of them fails.
func (d *demo) run(ctx context.Context, speed float64) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	g, ctx := errgroup.WithContext(ctx)
	for _, one := range d.agents() {
		if err := one.begin(ctx, g, speed, cancel); err != nil {
			cancel()
			return errors.Join(err, g.Wait(), d.close())
		}
	}
	return errors.Join(g.Wait(), d.close())
}

// agentName is the name of the i-th agent, from 0.
func agentName(i int) string { return fmt.Sprintf("shed-%d", i+2) }

// logbook is the file for the record of the i-th agent, "" to discard it.
func (o *Options) logbook(i int) string {
	if o.Logbook == "" || i == 0 {
		return o.Logbook
	}
	ext := filepath.Ext(o.Logbook)
	return strings.TrimSuffix(o.Logbook, ext) + "-" + agentName(i) + ext
}

// listen is the address for the page of the i-th agent: the ports follow each other.
func (o *Options) listen(i int) string {
	host, port, err := net.SplitHostPort(o.Listen)
	n, err2 := strconv.Atoi(port)
	if i == 0 || n == 0 || err != nil || err2 != nil {
		return o.Listen // a wrong one is refused by who listens
	}
	return net.JoinHostPort(host, strconv.Itoa(n+i))
}

// siteOf returns the part of the i-th agent: each has as many bays as the first, which go
// on in number.
func siteOf(bays, i int) (*config.Config, map[string]sim.Opts, error) {
	cfg, begin, err := Site(bays * (i + 1))
	if err != nil {
		return nil, nil, err
	}
	cfg.Agent = agentName(i)
	cfg.Bays, cfg.Packs = cfg.Bays[bays*i:], cfg.Packs[bays*i:]
	own := map[string]sim.Opts{}
	for _, b := range cfg.Bays {
		own[b.Name] = begin[b.Name]
	}
	return cfg, own, nil
}
