package commission

import (
	"context"
	"time"

	"bayward/agent/bay"
)

// Look is what one bay's sensors say at one moment.
type Look struct {
	bay.Readings
	// Volts are those at the converter's inputs, by the part's key in the
	// configuration, such as "voltage"; a part that could not be converted is
	// absent.
	Volts map[string]float64
}

// Rig is the hardware under the walk.
type Rig interface {
	// Look samples the bay under the walk, in milliseconds. What takes most of a
	// second, the 1-wire sensors, is sampled beside it; a look has their last
	// values.
	Look(ctx context.Context) *Look
	// Others samples the other bays of the Pi, by name, to find leads that were
	// exchanged between bays.
	Others(ctx context.Context) map[string]*Look
	// CloseFor closes the relay and sees to it that it opens after most, whatever
	// becomes of the walk.
	CloseFor(most time.Duration) error
	// Beat toggles the heartbeat.
	Beat() error
	// Open opens the relay.
	Open() error
	// HoldAndDie gives the relay's line to a process of its own that closes the
	// relay; kill ends that process as a crash would, and takes the line back only
	// when reclaim is called. An error means that the relay is open.
	HoldAndDie(ctx context.Context) (kill func() error, reclaim func() error, err error)
	// Wait returns after d of the bay's time, or with the context's error.
	Wait(ctx context.Context, d time.Duration) error
	// Now is the clock that looks are stamped with.
	Now() time.Duration
}

// Action is a thing that is done to a bay by hand.
type Action uint8

// The actions.
const (
	NoAction       Action = iota
	UnplugPack            // pull the pack's plug
	PlugPack              // put it back
	LiftProbe             // lift the level probe out of its cell
	LowerProbe            // put it back
	OpenLoop              // pull the level probe's plug at the terminals
	CloseLoop             // put it back
	ShortLoop             // put the test clip across the probe's terminals
	UnshortLoop           // take it off
	WarmPack              // close a hand around the pack's temperature sensor
	LeavePack             // let go of it
	WarmAir               // as WarmPack, the sensor of the air
	LeaveAir              // let go of it
	LoadOn                // let the pack feed a load
	LoadOff               // switch the load off
	FanOff                // switch the fan off
	FanOn                 // switch it on
	BridgeComplete        // bridge the charger's "complete" contact
	OpenComplete          // take the bridge off
	GasOn                 // give test gas to the hydrogen sensor
	GasOff                // take it away
	ChargerOff            // take the charger's supply away and lock it
	numActions
)

// Hand does what the walk asks for in a simulated bay.
type Hand interface {
	// Do does it and says what was done, in a sentence.
	Do(Action) string
	// Meter is what the simulated hand meter shows for a part: "voltage" in V,
	// "current" in A (positive while charging), "temperature" in °C, "level" in mm,
	// "hydrogen" in %.
	Meter(part string) float64
}
