package main

import (
	"context"
	"errors"
	"net/http"
	"time"

	"bayward/agent/loop"
	"bayward/agent/records"
	"bayward/agent/usage"
	"bayward/agent/web"
)

// seen shows each picture to the page's memory of the last hours.
type seen struct{ past *web.Past }

// Name implements loop.Output.
func (seen) Name() string { return "page" }

// Take implements loop.Output.
func (o seen) Take(_ context.Context, n *loop.News) {
	o.past.Observe(n.Picture)
	o.past.Happened(n.Bay, n.Events)
}

// errOpen says that a page on the network would not know who asks.
var errOpen = errors.New("the page would be open to the network with nobody named who may give orders: " +
	"name people in the configuration (bayward pin makes the hashes), or set http.web_config_file, or listen on 127.0.0.1")

// guarded refuses a listener on the network that knows nobody. The demo keeps
// nothing and guards nothing.
func (a *agent) guarded() error {
	if a.invented || web.Loopback(a.listener) || len(a.cfg.People) > 0 || a.cfg.HTTP.WebConfigFile != "" {
		return nil
	}
	return usage.Errorf("http.listen: value %s is not accepted: %w", a.cfg.HTTP.Listen, errOpen)
}

func (a *agent) page(metrics http.Handler) http.Handler {
	people := make([]web.Person, len(a.cfg.People))
	for i, p := range a.cfg.People {
		people[i] = web.Person{Name: p.Name, Role: web.ParseRole(p.Role), Hash: p.PINHash}
	}
	var record http.Handler
	if a.book != nil {
		record = records.Handler(records.ServeOptions{
			Reader: a.book.Reader, Version: version(), Describe: func(o *records.ReportOptions) { describe(o, a.cfg) },
			Now: func() time.Time { now, _ := a.wall(); return now },
		})
	}
	return web.New(web.Options{
		Site: a.cfg.Site, Agent: a.cfg.Agent, Units: a.cfg.Units, Language: a.cfg.Language, Version: version(),
		Pictures: a.loop.Pictures, Submit: a.submit, Healthy: a.loop.Healthy, Metrics: metrics, Records: record,
		People: people, Past: &a.past, Writable: a.invented || web.Loopback(a.listener),
	})
}
