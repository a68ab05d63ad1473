package sim

import (
	"fmt"
	"math"
	"time"

	"bayward/sensors/sim/pack"
	"bayward/sensors/wiring"
)

// soundOhm is the insulation of each pole of a dry pack (from memory).
const soundOhm = 20e6

// Stand is one charging place on a bench.
type Stand struct {
	bench *Bench
	opts  Opts
	began time.Duration
	now   time.Duration

	pack      *pack.Battery
	charger   *pack.Charger
	room      *pack.Room
	contactor contactor
	connected bool
	mains     bool
	fan       bool
	loadA     float64

	divider    wiring.Voltage
	current    wiring.Current
	hydrogen   wiring.Analog
	probe      circuit
	adcs       []*adc
	packSensor *thermometer
	packBus    string       // 1-wire bus of the plug
	offsetC    float64      // what a driver adds to a pack's sensor here
	ownSensor  bool         // packSensor stays in the pack and goes with it
	silent     *thermometer // of a pack whose own sensor is not plugged in here
	airSensor  *thermometer

	inputs     map[string]func(volts float64) float64 // by the part's key; see SetInput
	wires      map[string]Wires                       // by the contact's key; see SetWires
	faults     [numFaults]bool
	faultSince [numFaults]time.Duration
	stuckMM    float64

	// What a person does at the wires; see hand.go.
	lifted   bool
	replaced bool            // the probe, at the box
	bridged  map[string]bool // contacts closed by hand, by the key in the wiring
	gasPct   float64
	leakOhm  [2]float64 // from plus and from minus to the Pi's ground

	inputMaxV float64 // see Truth
}

// newBay makes a bay without wires.
func newBay(b *Bench, o Opts, w *wiring.Parts) (*Stand, error) {
	if o.Name == "" {
		return nil, fmt.Errorf("name is empty")
	}
	if !(o.AmbientC-math.Abs(o.AmbientSwingC) >= -40 && o.AmbientC+math.Abs(o.AmbientSwingC) <= 60) {
		return nil, fmt.Errorf("ambient %v °C with a swing of %v is not between -40 and 60 °C", o.AmbientC, o.AmbientSwingC)
	}
	p, err := pack.New(o.spec())
	if err != nil {
		return nil, fmt.Errorf("pack: %w", err)
	}
	c, err := pack.NewCharger(o.Charger, o.Cells, o.CapacityAh, o.ChargerA, o.RestartOnEnable)
	if err != nil {
		return nil, fmt.Errorf("charger: %w", err)
	}
	y := &Stand{
		bench: b, opts: o, began: b.now, now: b.now, pack: p, charger: c, room: pack.NewRoom(o.Cells, o.CapacityAh),
		connected: o.Connected, mains: true, fan: true, bridged: map[string]bool{}, inputs: map[string]func(float64) float64{}, wires: map[string]Wires{}, leakOhm: [2]float64{soundOhm, soundOhm},
	}
	y.contactor.hold = o.HeartbeatHold
	if o.HeartbeatHold <= 0 {
		y.contactor.hold = defaultHold
	}
	y.contactor.timed = w.Relay != nil && w.Relay.Heartbeat != ""
	return y, nil
}

// ambientC returns the air's temperature now: coldest at the start of each day of
// the physics.
func (y *Stand) ambientC() float64 {
	return y.opts.AmbientC - y.opts.AmbientSwingC*math.Cos(2*math.Pi*y.now.Hours()/24)
}

// advance moves the bay's physics to a time.
func (y *Stand) advance(until time.Duration) {
	for y.now < until {
		dt := min(until-y.now, y.stride())
		if next := y.contactor.next(); next > 0 {
			dt = min(dt, next)
		}
		y.step(dt)
	}
}

// stride returns the longest step that is still accurate.
func (y *Stand) stride() time.Duration {
	if y.loadA == 0 && y.charger.Stage() == pack.ChargerOff && y.pack.Resting() {
		return 10 * time.Second
	}
	return time.Second
}

func (y *Stand) step(dt time.Duration) {
	s := dt.Seconds()
	supply := y.charger.Supply(y.contactor.closedNow, y.mains, y.connected)
	y.pack.Step(s, supply, y.loadA, y.ambientC())
	y.charger.Observe(s, y.pack.Volts(), y.pack.SupplyA())
	y.room.Step(s, y.pack.GassingA()*float64(y.pack.Cells()), y.fan)
	if y.loadA > 0 && y.pack.Exhausted() {
		y.loadA = 0
	}
	y.settle(dt)
	y.now += dt
}

// probeMM returns the level at the probe.
func (y *Stand) probeMM() float64 {
	if y.faults[ProbeStuck] {
		return y.stuckMM
	}
	if y.lifted {
		return liftedMM
	}
	return y.pack.LevelMM(y.opts.PilotCell)
}

// sensorPlugged reports whether the pack's temperature sensor is on its bus.
func (y *Stand) sensorPlugged() bool { return y.connected && !y.faults[TemperatureUnplugged] }
