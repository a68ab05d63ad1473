package config

import (
	"fmt"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/reading"
	"bayward/sensors/wiring"
)

// Setups returns the core's set-up of each bay, in the order of the file. It is an
// error if a bay's pack is not in the file, which Parse does not accept.
func (c *Config) Setups() ([]bay.Setup, error) {
	out := make([]bay.Setup, 0, len(c.Bays))
	for i := range c.Bays {
		b := &c.Bays[i]
		s := bay.Setup{Limits: c.Limits.Core(), Recognises: b.Recognises()}
		for _, name := range b.Serves() {
			p, err := c.PackNamed(name)
			if err != nil || name == "" {
				return nil, fmt.Errorf("set up bay %s: no pack is named %q", b.Name, name)
			}
			s.Packs = append(s.Packs, p.core())
		}
		if len(b.Packs) == 0 {
			s.Pack, s.Packs = s.Packs[0], nil
		}
		s.Name = b.Name
		fitted(&b.Wiring, &s)
		if r := b.Wiring.Relay; r != nil && c.Sensors != "simulated" {
			s.Watchdog = bay.Watchdog{Line: r.Heartbeat, WhyNot: r.NoHeartbeat}
		}
		out = append(out, s)
	}
	return out, nil
}

// fitted sets which optional sensors are wired.
func fitted(w *wiring.Parts, s *bay.Setup) {
	s.TempOnCase = w.Temperature != nil && w.Temperature.On != "electrolyte"
	s.Fitted = reading.SensorsOf().
		With(reading.PackCurrent, w.Current != nil).
		With(reading.AmbientTemperature, w.Temperature != nil && w.Temperature.Ambient != "").
		With(reading.Hydrogen, w.Hydrogen != nil)
	for _, c := range w.Contacts() {
		s.Fitted = s.Fitted.With(c.Sensor, c.Contact != nil)
	}
}

// PackSetup returns a set-up for one pack by itself, without optional sensors, for a
// replay. An empty name selects the only pack. It is an error if there are several,
// or if none has that name.
func (c *Config) PackSetup(name string) (bay.Setup, error) {
	p, err := c.PackNamed(name)
	if err != nil {
		return bay.Setup{}, err
	}
	return bay.Setup{
		Name: p.Name, Pack: p.core(), Limits: c.Limits.Core(),
	}, nil
}

// PackNamed finds a pack. See PackSetup for the empty name.
func (c *Config) PackNamed(name string) (Pack, error) {
	names := make([]string, len(c.Packs))
	for i, p := range c.Packs {
		if p.Name == name || name == "" && len(c.Packs) == 1 {
			return p, nil
		}
		names[i] = p.Name
	}
	if name == "" {
		return Pack{}, fmt.Errorf("the configuration has several packs, name one of them: %s", strings.Join(names, ", "))
	}
	return Pack{}, fmt.Errorf("no pack is named %q; the configuration has %s", name, strings.Join(names, ", "))
}

func (p Pack) core() bay.Pack {
	return bay.Pack{
		Name: p.Name, Cells: p.Cells, CapacityAh: p.CapacityAh, RateHours: p.RateHours, FullGravity: p.FullGravity,
		ChargeLevelMM: p.ChargeLevelMM, FillMarkMM: p.FillMarkMM, VentWellMM: p.VentWellMM,
		FreeSurfaceCM2: p.FreeSurfaceCM2, ElectrolyteML: p.ElectrolyteML, ChargeFactor: p.ChargeFactor, ProbeCell: p.ProbeCell,
	}
}
