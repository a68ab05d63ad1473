package assembly

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/loop"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/records"
	"bayward/agent/usage"
	"bayward/agent/web"
	"bayward/deploy"
	"bayward/sensors/wiring"
)

// pageOutput keeps the last hours of each bay for the page.
type pageOutput struct{ past *web.Past }

// Name implements loop.Output.
func (pageOutput) Name() string { return "page" }

// Take implements loop.Output.
func (o pageOutput) Take(_ context.Context, n *loop.News) {
	o.past.Observe(n.Picture)
	o.past.Happened(n.Bay, n.Events)
}

// errOpen is for a page on the network that could not identify its users.
var errOpen = errors.New("the page would be open to the network with nobody named who may give orders: " +
	"name people in the configuration (bayward pin makes the hashes), or set http.web_config_file, or listen on 127.0.0.1")

// checkListener refuses to listen on the network if no people are named. The demo
// has nothing to protect.
func (a *Agent) checkListener() error {
	if a.Invented || web.Loopback(a.listener) || len(a.Config.People) > 0 || a.Config.HTTP.WebConfigFile != "" {
		return nil
	}
	return a.refusesOpen()
}

func (a *Agent) refusesOpen() error {
	return usage.Errorf("http.listen: value %s is not accepted: %w", a.Config.HTTP.Listen, errOpen)
}

// OpenToAnybody reports whether the page takes every order from whoever reaches it
// over the network.
func (a *Agent) OpenToAnybody() bool { return a.Invented && !web.Loopback(a.listener) }

func (a *Agent) page(metrics http.Handler) http.Handler {
	var record func(web.Frame) http.Handler
	var closed func(context.Context, string) ([]web.ClosedVisit, error)
	if a.Book != nil {
		closed = func(ctx context.Context, pack string) ([]web.ClosedVisit, error) {
			return closedVisits(ctx, a.Book.Reader, pack)
		}
		record = func(frame web.Frame) http.Handler {
			return records.Handler(records.ServeOptions{
				Reader: a.Book.Reader, Version: a.Version, Describe: func(o *records.ReportOptions) { Describe(o, a.Config) },
				Zone: time.Local, Frame: frame,
				Now: func() time.Time { now, _ := a.Wall(); return now },
			})
		}
	}
	var others web.Others
	if a.yard != nil {
		others = a.yard
	}
	return web.New(web.Options{
		Others: others,
		Site:   a.Config.Site, Agent: a.Config.Agent, Units: a.Config.Units, Language: a.Config.Language, Version: a.Version,
		Pictures: a.Loop.Pictures, Submit: a.Submit, Healthy: a.Loop.Healthy, Metrics: metrics, Records: record, Closed: closed, Guide: deploy.Guide, Aid: a.Config.FirstAid.Words(),
		People: a.people(), Proxies: a.Config.HTTP.Proxies(), Door: a.door, Past: &a.past, Writable: a.Invented || web.Loopback(a.listener), Anybody: a.OpenToAnybody(), Layouts: layouts(a.Config.Packs), WallKey: a.Config.HTTP.WallKey,
		SignInRefused: a.metrics.SignInRefused,
		Clock:         func() time.Time { now, _ := a.Wall(); return now },
	})
}

// people are those who may sign in.
func (a *Agent) people() []web.Person {
	people := make([]web.Person, len(a.Config.People))
	for i, p := range a.Config.People {
		people[i] = web.Person{Name: p.Name, Right: order.ParseRight(p.Role), Hash: p.PINHash}
	}
	return people
}

// layouts returns how the cells of each pack lie, for those of which that is known.
func layouts(packs []config.Pack) map[string][][]int {
	all := map[string][][]int{}
	for i := range packs {
		if rows, ok := packs[i].Rows(); ok && rows != nil {
			all[packs[i].Name] = rows
		}
	}
	return all
}

// Describe adds what the configuration says about the pack to a report. A nil
// configuration adds nothing.
func Describe(o *records.ReportOptions, cfg *config.Config) {
	if cfg == nil {
		return
	}
	o.Site, o.Agent, o.Language, o.Units = cfg.Site, cfg.Agent, cfg.Language, cfg.Units
	if setup, err := cfg.PackSetup(o.Pack); err == nil { // a pack that has left the site keeps its record
		o.Facts = facts(&setup)
	}
}

// DatasetPacks describes the packs of a configuration for a dataset, each as the first bay
// that serves it is wired; none without a configuration.
func DatasetPacks(cfg *config.Config) (packs []records.DatasetPack, err error) {
	if cfg == nil {
		return nil, nil
	}
	setups, err := cfg.Setups()
	if err != nil {
		return nil, err
	}
	for i := range setups {
		s, b := &setups[i], &cfg.Bays[i]
		of := records.DatasetPack{Fitted: s.Fitted, Thermometer: "electrolyte"}
		if s.TempOnCase {
			of.Thermometer = "case"
		}
		of.LevelProbe = levelProbe(&b.Wiring)
		if b.Charger != nil {
			of.Charger = b.Charger.Curve
		}
		for _, of.Pack = range append(s.Packs, s.Pack) {
			known := slices.ContainsFunc(packs, func(p records.DatasetPack) bool { return p.Name == of.Name })
			if of.Name != "" && !known {
				packs = append(packs, of)
			}
		}
	}
	return packs, nil
}

func facts(s *bay.Setup) *records.Facts {
	p, l := &s.Pack, &s.Limits
	return &records.Facts{
		Cells: p.Cells, CapacityAh: p.CapacityAh, RateHours: p.RateHours, FullGravity: p.FullGravity,
		ChargeLevelMM: p.ChargeLevelMM, FillMarkMM: p.FillMarkMM, VentWellMM: p.VentWellMM,
		FreeSurfaceCM2: p.FreeSurfaceCM2, ElectrolyteML: p.ElectrolyteML, ChargeMaxC: l.ChargeMaxC, WateringMaxC: l.WateringMaxC,
	}
}

// levelProbe is the kind of a bay's level probe.
func levelProbe(w *wiring.Parts) string {
	switch {
	case w.Register(reading.ElectrolyteLevel) != nil:
		return "register"
	case w.Level != nil:
		return string(w.Level.Kind)
	}
	return ""
}
