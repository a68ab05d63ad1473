package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"time"

	"bayward/deploy/emulated/chips"
	"bayward/deploy/emulated/control"
	"bayward/deploy/emulated/machine"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// The numbers of the thermometers: the pack's, its replacement, and the air's.
const (
	packSensor  = "28-0316a2795bff"
	otherSensor = "28-0316a2795c01"
	airSensor   = "28-0416b3d1aaff"
)

// rig is the board with everything wired to it: the physics of one bay behind
// chips and lines.
type rig struct {
	*journal
	guest    *guest
	machine  *machine.Machine
	converts *chips.Adapter // the bus of the converters
	wire     *chips.Adapter // the bus of the 1-wire bridge
	inverted bool           // the bench reads the relay's line inverted: a deliberate fault
	pace     float64        // seconds of the physics and of the board's clock in a second of real time
	wiring   wiring.Parts   // of the bay
	scope    *scope         // on the pins of a probe's expander
	plain    bool           // the agent runs with the configuration as it is

	mu        sync.Mutex // guards the fields below
	bench     *sim.Bench
	bay       *sim.Stand
	bus       chips.Bus
	since     time.Time    // the physics is advanced up to here
	exchanged bool         // the pack's thermometer was replaced
	contacts  map[int]bool // levels that were put on the lines
	resets    int
	fired     int // times that the hardware watchdog fired

	listeners []net.Listener
	stop      context.CancelFunc
	pumping   sync.WaitGroup
}

// wired repeats deploy/emulated/bayward.yaml by hand: the physics must not depend
// on the file that it judges.
func wired() wiring.Parts {
	ground := 1
	return wiring.Parts{
		I2C:     "1",
		Voltage: &wiring.Voltage{Input: wiring.Input{ADC: 0x48, Channel: 0}, Ratio: 11},
		Current: &wiring.Current{Input: wiring.Input{ADC: 0x49, Channel: 0}, Minus: &ground, AmperesPerVolt: 2500},
		Level: &wiring.Level{
			Kind: level.FourTwentyMA, Input: wiring.Input{ADC: 0x48, Channel: 2},
			Settings: level.Settings{ShuntOhm: 45, LowMM: -20, HighMM: 30},
		},
		Hydrogen:    &wiring.Analog{Input: wiring.Input{ADC: 0x48, Channel: 3}, ZeroV: 0.5, PerVolt: 2},
		Temperature: &wiring.Temperature{Pack: packSensor, Ambient: airSensor},
		Relay: &wiring.Relay{
			Pin: lineNames[relayLine], Heartbeat: lineNames[heartbeatLine],
			Feedback: &wiring.Contact{Pin: lineNames[feedbackLine], ActiveLow: true, Normally: "closed"},
		},
		Airflow:  &wiring.Contact{Pin: lineNames[airflowLine], ActiveLow: true},
		Complete: &wiring.Contact{Pin: lineNames[completeLine], ActiveLow: true},
	}
}

// fresh returns a plugged-in pack, half charged, with this level above the plate
// tops.
func fresh(levelMM float64) sim.Opts {
	return sim.Opts{
		Name: "bay-1", Cells: 12, CapacityAh: 225, RateHours: 20, FullGravity: 1.277,
		FillMarkMM: 13, ChargeLevelMM: 3, VentWellMM: 22, FreeSurfaceCM2: 130, ElectrolyteML: 1350,
		StateOfCharge: 0.5, LevelMM: levelMM, AmbientC: 21, PackC: 24, Charger: sim.TwoStage, Seed: 1, Connected: true,
	}
}

// newRig wires a bay. Its adapters wait for a guest.
func newRig(ctx context.Context, pace float64) (*rig, error) {
	r := &rig{journal: newJournal(), pace: pace, wiring: wired(), scope: newScope(pace)}
	if err := r.refit(fresh(10)); err != nil {
		return nil, err
	}
	sensors := make([]*chips.Sensor, 0, 3)
	for _, number := range []string{packSensor, otherSensor, airSensor} {
		s, err := chips.NewSensor(number, func() ([9]byte, bool) { return r.scratchpad(number) })
		if err != nil {
			return nil, err
		}
		sensors = append(sensors, s)
	}
	r.converts = &chips.Adapter{Bus: converters{r}}
	r.wire = &chips.Adapter{Bus: &chips.Bridge{Wire: chips.NewWire(sensors...)}}
	ctx, r.stop = context.WithCancel(ctx)
	r.pumping.Go(func() { r.pump(ctx) })
	return r, nil
}

// serve opens a port for a kind of connection and returns its address as the guest
// sees it.
func (r *rig) serve(ctx context.Context, handle func(net.Conn)) (string, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	r.listeners = append(r.listeners, l)
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go handle(c)
		}
	}()
	_, port, err := net.SplitHostPort(l.Addr().String())
	return "10.0.2.2:" + port, err
}

// boot switches the board on and waits for its devices.
func (r *rig) boot(ctx context.Context, o machine.Options) error {
	r.guest = newGuest()
	env := map[string]string{}
	for name, handle := range map[string]func(net.Conn){
		"BENCH_I2C":     func(c net.Conn) { _ = r.converts.Serve(c) }, // ends with the guest
		"BENCH_WIRE":    func(c net.Conn) { _ = r.wire.Serve(c) },
		"BENCH_CONTROL": r.guest.follow,
	} {
		addr, err := r.serve(ctx, handle)
		if err != nil {
			return err
		}
		env[name] = addr
	}
	if r.pace > 1 {
		env["BENCH_HASTE"] = "1"
	}
	if o.Root != "" {
		env["BENCH_ROOT"] = "1"
	}
	o.Lines, o.Env, o.GuestPort = lineNames, env, control.RelayPort
	o.OnEdge, o.OnEvent, o.Pace = r.onEdge, r.onEvent, r.pace
	m, err := machine.Start(ctx, o)
	if err != nil {
		return err
	}
	r.mu.Lock()
	r.machine = m
	r.contacts = map[int]bool{}
	r.mu.Unlock()
	_, err = r.guest.await(ctx, "", control.Up, 0)
	return err
}

// refit replaces pack and charger.
func (r *rig) refit(o sim.Opts) error {
	bench := sim.NewBench()
	bay, err := bench.Add(o, r.wiring)
	if err != nil {
		return err
	}
	bus, err := bench.Bus("1")
	if err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.bench, r.bay, r.bus, r.since, r.exchanged = bench, bay, bus, time.Now(), false
	return bench.Drive(lineNames[relayLine], r.look().relay)
}

// onEdge passes an edge of an output to the physics and the journal.
func (r *rig) onEdge(line int, high bool) {
	if line == relayLine && r.inverted {
		high = !high
	}
	if line == relayLine || line == heartbeatLine {
		r.mu.Lock()
		r.catchUp()
		_ = r.bench.Drive(lineNames[line], high) // both are outputs
		r.mu.Unlock()
	}
	r.edge(line, high)
}

func (r *rig) onEvent(name string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	switch name {
	case "RESET":
		r.resets++
		clear(r.contacts) // the chip has forgotten the levels of its lines
	case "WATCHDOG":
		r.fired++
	}
}

// counts returns how often the board was reset and its watchdog fired.
func (r *rig) counts() (resets, fired int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.resets, r.fired
}

// catchUp advances the physics to the board's time; the caller holds the lock.
func (r *rig) catchUp() {
	now := time.Now()
	r.bench.Advance(time.Duration(float64(now.Sub(r.since)) * r.pace))
	r.since = now
}

// pump advances the physics and puts the contacts' levels on their lines.
func (r *rig) pump(ctx context.Context) {
	t := time.NewTicker(time.Duration(50 / r.pace * float64(time.Millisecond)))
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			r.mu.Lock()
			r.catchUp()
			r.driveContacts()
			r.mu.Unlock()
		}
	}
}

func (r *rig) driveContacts() {
	if r.machine == nil {
		return
	}
	for _, line := range []int{feedbackLine, airflowLine, completeLine} {
		high, err := r.bench.Contact(lineNames[line])
		if was, put := r.contacts[line]; err != nil || put && was == high {
			continue
		}
		if r.machine.Drive(line, high) == nil {
			r.contacts[line] = high
		}
	}
}

// scratchpad returns the memory of one of the thermometers.
func (r *rig) scratchpad(number string) ([9]byte, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.catchUp()
	switch number {
	case otherSensor:
		if !r.exchanged {
			return [9]byte{}, false
		}
		number = packSensor
	case packSensor:
		if r.exchanged {
			return [9]byte{}, false
		}
	}
	pad, plugged, err := r.bench.Scratchpad(number)
	return pad, plugged && err == nil
}

// exchange replaces the pack's thermometer.
func (r *rig) exchange() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.exchanged = true
}

// with does something to the bay.
func (r *rig) with(do func(*sim.Stand) error) error {
	r.mu.Lock()
	bay := r.bay
	r.mu.Unlock()
	return do(bay)
}

// fault sets or clears a fault of a part.
func (r *rig) fault(kind sim.FaultKind, on bool) {
	_ = r.with(func(y *sim.Stand) error { y.SetFault(kind, on); return nil }) // returns none
}

// close ends the board and the physics.
func (r *rig) close() error {
	var err error
	r.mu.Lock()
	m := r.machine
	r.machine = nil
	r.mu.Unlock()
	if m != nil {
		err = m.Close()
	}
	r.stop()
	r.pumping.Wait()
	for _, l := range r.listeners {
		err = errors.Join(err, l.Close())
	}
	return err
}

// converters is the first bus, with its chips.
type converters struct{ r *rig }

// Tx implements chips.Bus.
func (c converters) Tx(addr uint16, w, r []byte) error {
	c.r.mu.Lock()
	c.r.catchUp()
	bus, stuck := c.r.bus, c.r.bay.Fault(sim.BusStuck)
	c.r.mu.Unlock()
	if stuck {
		time.Sleep(time.Second) // a Pi's controller gives up after this
		return fmt.Errorf("bus 1: %w", chips.ErrStuck)
	}
	c.r.scope.see(addr, w)
	return bus.Tx(addr, w, r)
}

var _ io.Closer = (*machine.Machine)(nil)
