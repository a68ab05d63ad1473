package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"bayward/deploy/emulated/control"
	"bayward/sensors/sim"
)

// readingMessages is fewer than any reading of a thermometer takes on the bridge:
// the sensor's number twice (eighteen bytes with its commands) and the answer, each
// byte at least a command and a status.
const readingMessages = 2 * (2*8 + 2 + 9)

func slowWire(s *scene) {
	s.begin(fresh(10))
	s.granted()
	var before int64
	s.step("each message of the 1-wire bridge takes 0.4 s from now on", func(context.Context) error {
		s.wire.SetDelay(400 * time.Millisecond)
		before = s.wire.Messages()
		return nil
	})
	defer s.wire.SetDelay(0)
	s.keeps(5)
	s.drops("the jar leaks", dropTicks, func(context.Context) error { return s.leak(16) })
	s.step("no 1-wire reading ended meanwhile", func(context.Context) error {
		if n := s.wire.Messages() - before; n >= readingMessages {
			return fmt.Errorf("there were %d messages, enough for one", n)
		}
		return nil
	})
	s.finds("temperature-unknown")
	s.step("the wire is fast again, and water covers the plates", func(context.Context) error {
		s.wire.SetDelay(0)
		return s.pour(16)
	})
	s.granted()
}

// named waits until the bay's state reports a sensor's fault.
func (s *scene) named(sensor, fault string) {
	s.shows(sensor+" has "+fault, func(p *picture) bool {
		return slices.ContainsFunc(p.Faults, func(f struct{ Sensor, Fault string }) bool { return f.Sensor == sensor && f.Fault == fault })
	})
}

// faultless waits until no sensor has a fault.
func (s *scene) faultless() {
	s.shows("no fault", func(p *picture) bool { return len(p.Faults) == 0 })
}

func converterFaults(s *scene) {
	s.begin(fresh(10))
	s.granted()
	for _, f := range []struct {
		kind   sim.FaultKind
		sensor string
		fault  string
	}{
		{sim.ADCAbsent, "level", "no-answer"},
		{sim.ConfigReset, "level", "contradictory"},
		{sim.ConversionStuck, "level", "timeout"},
		{sim.ProbeShort, "level", "over-range"},
		{sim.ProbeOpen, "level", "open"},
	} {
		s.drops(f.kind.String(), dropTicksBus, s.breaks(f.kind))
		s.named(f.sensor, f.fault)
		s.stays(5)
		s.repairs(f.kind)
		s.faultless()
		s.granted()
	}
}

// adapterPulled: an adapter on USB is a new device when it comes back, and gets the
// old number only if the agent has closed the old device.
func adapterPulled(s *scene) {
	s.begin(fresh(10))
	s.granted()
	s.drops("the adapter of the converters is pulled", dropTicksBus, func(ctx context.Context) error {
		_, err := s.guest.order(ctx, control.Order{Do: control.Pull})
		return err
	})
	s.named("level", "bus-stuck")
	s.stays(10)
	s.gives("the adapter is plugged in again", control.Order{Do: control.Plug})
	s.faultless()
	s.granted()
}

// wireTicks is how long a 1-wire fault may take to open the relay: the kernel
// retries a bad sensor several times, but an old reading counts for thirty seconds
// at most (stale_seconds), and the finding takes five more.
const wireTicks = 45

func thermometerFaults(s *scene) {
	s.begin(fresh(10))
	s.granted()
	for _, f := range []struct {
		kind  sim.FaultKind
		fault string
	}{
		{sim.TemperatureCRC, "no-answer"}, // this kernel writes an empty file for both
		{sim.TemperaturePowerOn, "power-on"},
		{sim.TemperatureUnplugged, "no-answer"},
	} {
		s.drops(f.kind.String(), wireTicks, s.breaks(f.kind))
		s.named("pack-temperature", f.fault)
		s.writes(packSensor)
		s.stays(5)
		s.repairs(f.kind)
		s.faultless()
		s.granted()
	}
	s.drops("the sensor is replaced with another", wireTicks, func(context.Context) error { s.exchange(); return nil })
	s.stays(20)
}

// writes logs the kernel's file for a sensor, as a sample for the driver's tests.
func (s *scene) writes(number string) {
	e := s.gives("the kernel's file for it", control.Order{Do: control.Read, Path: "/sys/bus/w1/devices/" + number + "/w1_slave"})
	s.log("      %q", e.Text)
}

func contactFaults(s *scene) {
	s.begin(fresh(10))
	s.granted()
	const fanTicks = 10 + 4
	s.drops("the fan stops", fanTicks, func(context.Context) error {
		return s.fan(false)
	})
	s.finds("airflow-unproven")
	s.stays(5)
	s.step("the fan runs again", func(context.Context) error {
		return s.fan(true)
	})
	s.granted()
	s.step("the contactor welds", s.breaks(sim.ContactorWelded))
	s.drops("the probe's wire breaks", dropTicks, s.breaks(sim.ProbeOpen))
	s.finds("contactor-stuck")
	s.step("current still flows, but the line is low: the agent can do no more", func(context.Context) error {
		if s.look().relay {
			return errors.New("the line is high")
		}
		return nil
	})
}
