// Package assembly puts the parts of an agent together.
package assembly

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"time"

	"bayward/agent/bay"
	"bayward/agent/certs"
	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/loop"
	"bayward/agent/metrics"
	"bayward/agent/notify"
	"bayward/agent/order"
	"bayward/agent/restore"
	"bayward/agent/systemd"
	"bayward/agent/web"
	"bayward/agent/yard"
	"bayward/mqtt"
	"bayward/mqtt/broker"
	"bayward/sensors"
)

// Parts is what differs between a Pi, a simulated site and the demo.
type Parts struct {
	Config   *config.Config
	Log      *slog.Logger
	Hardware sensors.Hardware // its clock stamps readings and ticks
	Keeper   *hardware.Keeper // of the relays; whoever opened it closes it
	Wall     func() (at time.Time, trusted bool)
	// OrderWall is the clock that dates users' orders; nil means Wall.
	OrderWall func() (at time.Time, trusted bool)
	// BootID and Mono stamp the record; Gap returns how long ago a stamp was made,
	// and whether that is proven.
	BootID string
	Mono   func() time.Duration
	Gap    func(logbook.Stamp) (time.Duration, bool)

	Every, GuardAfter time.Duration // the time between two ticks; the time after which a relay opens without another
	Patience          func(loop.Source) time.Duration
	Outputs           []loop.Output       // in addition to the usual ones
	Manager           *systemd.Manager    // nil without a service manager
	WrapSubmit        func(Submit) Submit // nil adds nothing
	Invented          bool                // the demo: anyone who reaches the page may give orders
	Version           string              // of the program
}

// Submit passes a person's order to a bay and waits until it is refused, or taken and
// on record. An order that is in force and not on record in time gives its event with
// order.ErrNotOnRecord.
type Submit = func(ctx context.Context, bayName string, o order.Order) (bay.Event, error)

// Agent is the whole program that looks after bays.
type Agent struct {
	Parts
	Loop     *loop.Loop
	Book     *logbook.Book     // nil when it could not be opened
	Recorder *logbook.Recorder // nil without a logbook
	Submit   Submit
	record   logbookOutput    // with a recorder
	witness  *restore.Witness // with a logbook
	client   *mqtt.Client     // nil without a broker
	embedded *broker.Broker   // the broker inside the program, nil without one
	yard     *yard.Yard       // the site's other agents, nil if they are not followed
	metrics  *metrics.Collector
	listener net.Listener
	door     *web.Door
	certs    *certs.Watch
	past     web.Past      // the last hours, for the page
	notices  *noticeOutput // nil without mail and webhooks
	started  time.Duration // by the hardware's clock, before the first tick
}

// New first has the relays opened, then builds everything else. After an error the
// relays are open. The caller must close the agent.
func New(ctx context.Context, p Parts) (*Agent, error) {
	a := &Agent{Parts: p, started: p.Hardware.Now()}
	if err := a.build(ctx); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	return a, nil
}

// Address returns the address of the page and metrics as HOST:PORT.
func (a *Agent) Address() string { return a.listener.Addr().String() }

func (a *Agent) build(ctx context.Context) error {
	relays := a.relays()
	bays, err := sensors.Open(a.Config, a.Hardware)
	if err != nil {
		return err
	}
	if a.listener, err = web.Listen(ctx, a.Config.HTTP.Listen); err != nil {
		return err
	}
	if err = a.checkListener(); err != nil {
		return err
	}
	a.door = web.NewDoor(web.DoorOptions{Proxies: a.Config.HTTP.Proxies(), Log: a.Log})
	a.followSite()
	if err = a.buildNotices(); err != nil {
		return err
	}
	if err = a.openBook(ctx); err != nil {
		return err
	}
	if err = a.connect(ctx); err != nil {
		return err
	}
	if err = a.buildLoop(ctx, bays, relays); err != nil {
		return err
	}
	a.Submit = a.onRecord(a.Loop.Submit)
	if a.WrapSubmit != nil {
		a.Submit = a.WrapSubmit(a.Submit)
	}
	return nil
}

// openBook opens the logbook. If it belongs to another agent or to a newer program,
// the start fails; after any other error the agent runs without a record.
func (a *Agent) openBook(ctx context.Context) error {
	book, err := logbook.Open(ctx, a.Config.Logbook.Path, a.Log)
	var open map[string]*logbook.Follower
	if err == nil {
		if open, err = followers(ctx, book, a.Config); err != nil {
			err = errors.Join(err, book.Close())
		}
	}
	switch {
	case err == nil:
		a.Book = book
		book.Keep(time.Duration(a.Config.Logbook.KeepDays) * 24 * time.Hour)
		a.witness = restore.OpenWitness(a.Config.Logbook.Path, a.Log)
		a.Recorder = logbook.NewRecorder(book, logbook.RecorderOptions{Witness: a.witness.Stored}, a.Log)
		a.record = logbookOutput{a.Recorder, a.BootID, open}
		return nil
	case errors.Is(err, logbook.ErrLocked), errors.Is(err, logbook.ErrNewer), errors.Is(err, logbook.ErrForeign):
		return err
	}
	a.Log.Error("the logbook cannot be opened; the bays are guarded, nothing is recorded", "err", err)
	return nil
}

// relays returns the relays of all bays, opened. A keeper that does not answer is not
// an error: it opens every relay that nobody asks it to close, and until it answers
// every bay is blocked.
func (a *Agent) relays() []loop.Relay {
	all := make([]loop.Relay, len(a.Config.Bays))
	var errs []error
	for i := range a.Config.Bays {
		r := a.Keeper.Relay(&a.Config.Bays[i])
		errs = append(errs, r.Lease(a.Keeper.Now(), 0, false))
		all[i] = r
	}
	if errors.Join(errs...) == nil { // otherwise the first tick logs it
		a.Log.Info("all relays are open")
	}
	return all
}

func wallOf(t time.Time, trusted bool) mqtt.Wall { return mqtt.Wall{Time: t, Trusted: trusted} }

func (a *Agent) buildLoop(ctx context.Context, sets []*sensors.Set, relays []loop.Relay) error {
	setups, err := a.Config.Setups()
	if err != nil {
		return err
	}
	a.addProofs(ctx, setups)
	bays := make([]loop.Place, len(setups))
	cores, histories := a.restored(ctx, setups)
	if a.Book != nil { // from here on people wait for it, and the cores no longer
		a.Book.AnswerWithin(answerWithin)
	}
	for i, s := range setups {
		core := cores[i]
		bays[i] = loop.Place{Name: s.Name, Core: core, Relay: relays[i]}
		for _, src := range sets[i].Sources() {
			bays[i].Sources = append(bays[i].Sources, src)
		}
		if level := sets[i].Level(); level != nil {
			bays[i].Level, bays[i].BareWithin = level, a.Config.Bays[i].Wiring.Level.BareWithin()
		}
	}
	a.buildMetrics()
	a.Loop = loop.New(loop.Options{
		Bays: bays, Histories: histories, Outputs: append(a.outputs(), a.Outputs...), Log: a.Log, Every: a.Every, Now: a.Hardware.Now, KeeperNow: a.Keeper.Now, GuardAfter: a.GuardAfter,
		Patience: a.Patience, Wall: a.Wall, Mono: a.Mono, RecordFailing: a.recordFailing, NoRecord: a.noRecord, OnTick: a.Manager.Ticked,
		Observe: func(tick, reaction time.Duration) {
			a.metrics.ObserveTick(tick)
			a.metrics.ObserveRelay(reaction)
		},
	})
	return nil
}

// addProofs adds what the walks on record have proven. A start continues without: people
// only read of the watchdog relays, and a fan is then off once before a charge.
func (a *Agent) addProofs(ctx context.Context, setups []bay.Setup) {
	if a.Book == nil {
		return
	}
	if err := restore.Proofs(ctx, a.Book.Reader, setups); err != nil {
		a.Log.Warn("what the commissioning walks have proven is not known", "err", err)
	}
}

// restored creates the cores with their memory from the logbook.
func (a *Agent) restored(ctx context.Context, setups []bay.Setup) ([]*bay.Bay, *bay.Histories) {
	packs := make([]string, len(a.Config.Packs))
	for i := range a.Config.Packs {
		packs[i] = a.Config.Packs[i].Name
	}
	from := restore.Source{
		Book: a.Book, Witness: a.witness, Gap: a.Gap, Now: a.Hardware.Now, Log: a.Log, Wired: a.Config.Sensors != "simulated",
	}
	return from.Cores(ctx, setups, packs)
}

// recordFailing is also true while thinned readings are dropped for a full disk:
// the operator must know before more is lost.
func (a *Agent) recordFailing() bool {
	return a.Recorder == nil || a.Recorder.Failing() || a.Book.ShortOfSpace()
}

func (a *Agent) buildMetrics() {
	a.certs = certs.NewWatch(certs.Files(a.Config), a.Log)
	src := metrics.Sources{
		Pictures:    func() []*bay.Picture { return a.Loop.Pictures() },
		RelayClosed: func(name string) (closed, known bool) { return a.Loop.RelayClosed(name) },
		Version:     a.Version,

		ConnectionsCut: a.door.Cut,
		Certificates:   a.certs.Ends,
		Scheme:         web.Scheme(a.Config.HTTP.WebConfigFile),
	}
	if a.client != nil {
		src.MQTTConnected, src.MQTTProven = a.client.Connected, a.client.EventsProven
		src.CommandsRefused = a.client.CommandsRefused
		src.OutboxEvents = outbox{a.Book}.count
	}
	a.metrics = metrics.New(src)
}

// outputs returns the outputs that every agent has.
func (a *Agent) outputs() []loop.Output {
	out := []loop.Output{metricsOutput{a.metrics}, pageOutput{&a.past}}
	if a.Recorder != nil {
		out = append(out, a.record)
	}
	if a.client != nil {
		out = append(out, mqttOutput{a.client, notify.Watches{}})
	}
	if a.notices != nil {
		out = append(out, a.notices)
	}
	if a.Manager != nil {
		out = append(out, newStatusOutput(a.Manager))
	}
	return out
}
