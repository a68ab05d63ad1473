package commission

import (
	"context"
	"time"

	"bayward/agent/bay"
	"bayward/sensors/level"
)

// Look holds the readings of one bay's sensors at one moment.
type Look struct {
	bay.Readings
	// Volts holds the voltages at the converter's inputs, by the part's key in the
	// configuration, such as "voltage". A part that could not be converted is
	// absent.
	Volts map[string]float64
	// Rods is what the rods of a level probe answered to their pulses. RodsRead is false
	// for another probe, and if they could not be measured.
	Rods     level.Measured
	RodsRead bool
}

// Rig is the hardware under the walk.
type Rig interface {
	// Look samples the bay under the walk in a few milliseconds. 1-wire sensors,
	// which take most of a second, are sampled in the background; a look has their
	// last values.
	Look(ctx context.Context) *Look
	// Others samples the other bays of the Pi, by name, to find leads that were
	// swapped between bays.
	Others(ctx context.Context) map[string]*Look
	// CloseFor closes the relay and beats once. The relay opens after most, and some
	// seconds after the last Renew, whatever happens to the walk.
	CloseFor(most time.Duration) error
	// Renew keeps a closed relay closed, never beyond the time of CloseFor, and beats
	// if asked to. An error means that the relay is open, or that it will open.
	Renew(beat bool) error
	// Open opens the relay.
	Open() error
	// HoldAndDie lets a separate process close the relay. kill ends that process as a
	// crash would; only reclaim makes the relay the walk's again. An error means that
	// the relay is open.
	HoldAndDie(ctx context.Context) (kill func() error, reclaim func() error, err error)
	// Wait returns after d of the bay's time, or with the context's error.
	Wait(ctx context.Context, d time.Duration) error
	// Now returns the clock that stamps the looks.
	Now() time.Duration
}

// Action is something done to a bay by hand.
type Action uint8

// The actions.
const (
	NoAction       Action = iota
	UnplugPack            // pull the pack's plug
	PlugPack              // put it back
	LiftProbe             // lift the level probe out of its cell
	LowerProbe            // put it back
	OpenLoop              // open the level probe's terminal at the box
	CloseLoop             // close it
	ReplaceProbe          // put the test resistor, or for rods the test clip, in the probe's place at the box
	RestoreProbe          // put the probe back
	WarmPack              // close a hand around the pack's temperature sensor
	LeavePack             // let go of it
	WarmAir               // as WarmPack, for the air sensor
	LeaveAir              // let go of it
	LoadOn                // let the pack feed a load
	LoadOff               // switch the load off
	FanOff                // switch the fan off
	FanOn                 // switch it on
	BridgeComplete        // bridge the charger's "complete" contact, or open a break contact's terminal
	OpenComplete          // undo that
	GasOn                 // give test gas to the hydrogen sensor
	GasOff                // take it away
	ChargerOff            // switch the charger's supply off and lock it
	ChargerOn             // unlock it and switch it on
	OpenFeedback          // open the terminal of the contactor's mirror contact
	CloseFeedback         // close it
	numActions
)

var actionNames = [numActions]string{
	NoAction: "nothing", UnplugPack: "unplug", PlugPack: "plug", LiftProbe: "lift-probe", LowerProbe: "lower-probe",
	OpenLoop: "open-loop", CloseLoop: "close-loop", ReplaceProbe: "replace-probe", RestoreProbe: "restore-probe",
	WarmPack: "warm-pack", LeavePack: "leave-pack", WarmAir: "warm-air", LeaveAir: "leave-air", LoadOn: "load-on", LoadOff: "load-off",
	FanOff: "fan-off", FanOn: "fan-on", BridgeComplete: "bridge", OpenComplete: "unbridge", GasOn: "gas-on", GasOff: "gas-off", ChargerOff: "charger-off", ChargerOn: "charger-on",
	OpenFeedback: "open-feedback", CloseFeedback: "close-feedback",
}

// String is the action's name in agent/words.
func (a Action) String() string {
	if a >= numActions {
		return "unknown"
	}
	return actionNames[a]
}

// Hand does in a simulated bay what the walk asks for.
type Hand interface {
	// Do performs the action.
	Do(Action)
	// Meter returns the reading of the simulated hand meter for a part: "voltage" in
	// V, "current" in A (positive while charging), "temperature" in °C, "level" in
	// mm, "hydrogen" in %; "leak-plus" and "leak-minus" in V over the resistor between
	// that pole and the Pi's ground.
	Meter(part string) float64
}
