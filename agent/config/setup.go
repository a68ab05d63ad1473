package config

import (
	"encoding/json"
	"fmt"
	"hash/crc32"
	"slices"
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
		s, err := c.setup(&c.Bays[i])
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

func (c *Config) setup(b *Bay) (bay.Setup, error) {
	s := bay.Setup{Name: b.Name, Limits: c.Limits.Core(), Recognises: b.Recognises()}
	for _, name := range b.Serves() {
		p, err := c.PackNamed(name)
		if err != nil || name == "" {
			return bay.Setup{}, fault("set-up-bay-no-pack-is-named", b.Name, name)
		}
		if len(s.Packs) > 0 && p.Cells != s.Packs[0].Cells { // Parse has refused it, but not with PacksOnly
			return bay.Setup{}, fault("set-up-bay-its-packs-must-have", b.Name)
		}
		s.Packs = append(s.Packs, p.core())
	}
	if len(b.Packs) == 0 {
		s.Pack, s.Packs = s.Packs[0], nil
	}
	fitted(&b.Wiring, &s)
	if r := b.Wiring.Relay; r != nil && c.Sensors != "simulated" {
		s.Fan.Line = b.Wiring.SensorLine(reading.Airflow)
		s.Watchdog = bay.Watchdog{Line: r.Heartbeat, WhyNot: r.NoHeartbeat}
	}
	return s, nil
}

// fitted sets which optional sensors are wired.
func fitted(w *wiring.Parts, s *bay.Setup) {
	// A device's sensor may be anywhere, so it counts as on the case, which is more careful.
	s.TempOnCase = w.Register(reading.PackTemperature) != nil || w.Temperature != nil && w.Temperature.On != "electrolyte"
	for sensor := reading.NoSensor + 1; sensor < reading.NumSensors; sensor++ {
		s.Fitted = s.Fitted.With(sensor, bay.Optional.Has(sensor) && w.Has(sensor))
	}
	s.CurrentSensor = sensorID(w)
}

// sensorID identifies the configuration of a current sensor, "" without one.
func sensorID(w *wiring.Parts) string {
	if r := w.Register(reading.PackCurrent); r != nil {
		return fmt.Sprintf("%08x", crc32.ChecksumIEEE([]byte(r.Key())))
	}
	if w.Current == nil {
		return ""
	}
	raw, err := json.Marshal(w.Current)
	if err != nil {
		return "" // never happens: only finite numbers and words are encoded
	}
	return fmt.Sprintf("%08x", crc32.ChecksumIEEE(raw))
}

// ReplaySetup returns the set-up of one bay for a replay: the one that Setups gives the
// live core. Without a bay's name it is that of the bays that serve the pack, for this
// pack alone; a pack that no bay serves has its sensor in the electrolyte. Without a
// pack's name it is that of the only pack, or with a bay's name all that the bay
// serves. The configuration may have been read with PacksOnly.
func (c *Config) ReplaySetup(bayName, packName string) (bay.Setup, error) {
	if bayName == "" {
		return c.setupWherever(packName)
	}
	i := slices.IndexFunc(c.Bays, func(b Bay) bool { return b.Name == bayName })
	if i < 0 {
		return bay.Setup{}, fault("no-bay-is-named-the-configuration-has", bayName, c.bayNames())
	}
	b := c.Bays[i]
	if packName != "" {
		if !slices.Contains(b.Serves(), packName) {
			return bay.Setup{}, fault("bay-has-no-pack-accepted", b.Name, packName, b.PackList())
		}
		b.Pack, b.Packs = packName, nil
	}
	return c.setup(&b)
}

// setupWherever returns the set-up of a pack in whichever bay serves it.
func (c *Config) setupWherever(name string) (bay.Setup, error) {
	s, err := c.PackSetup(name)
	if err != nil {
		return bay.Setup{}, err
	}
	var in []string
	for i := range c.Bays {
		b := c.Bays[i]
		if !slices.Contains(b.Serves(), s.Pack.Name) {
			continue
		}
		b.Pack, b.Packs = s.Pack.Name, nil
		one, err := c.setup(&b)
		if err != nil {
			return bay.Setup{}, err
		}
		if in = append(in, b.Name); len(in) > 1 && one.TempOnCase != s.TempOnCase {
			return bay.Setup{}, fault("pack-may-be-in-the-bays-and", s.Pack.Name, strings.Join(in, ", "))
		}
		s.TempOnCase = one.TempOnCase
	}
	return s, nil
}

// PackSetup returns a set-up for one pack by itself, without optional sensors. An
// empty name selects the only pack. It is an error if there are several, or if none
// has that name.
func (c *Config) PackSetup(name string) (bay.Setup, error) {
	p, err := c.PackNamed(name)
	if err != nil {
		return bay.Setup{}, err
	}
	return bay.Setup{Name: p.Name, Pack: p.core(), Limits: c.Limits.Core()}, nil
}

func (c *Config) bayNames() string {
	if len(c.Bays) == 0 {
		return "none"
	}
	names := make([]string, len(c.Bays))
	for i := range c.Bays {
		names[i] = c.Bays[i].Name
	}
	return strings.Join(names, ", ")
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
		return Pack{}, fault("the-configuration-has-several-packs-name-one", strings.Join(names, ", "))
	}
	return Pack{}, fault("no-pack-is-named-the-configuration-has", name, strings.Join(names, ", "))
}

func (p Pack) core() bay.Pack {
	return bay.Pack{
		Name: p.Name, Cells: p.Cells, CapacityAh: p.CapacityAh, RateHours: p.RateHours, FullGravity: p.FullGravity,
		ChargeLevelMM: p.ChargeLevelMM, FillMarkMM: p.FillMarkMM, VentWellMM: p.VentWellMM,
		FreeSurfaceCM2: p.FreeSurfaceCM2, ElectrolyteML: p.ElectrolyteML, ChargeFactor: p.ChargeFactor, ProbeCell: p.ProbeCell,
	}
}
