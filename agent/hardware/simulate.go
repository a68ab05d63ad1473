package hardware

import (
	"fmt"
	"time"

	"bayward/agent/config"
	"bayward/sensors/sim"
)

// Simulate builds a bench with a simulated bay for each bay of the configuration,
// wired as configured. The configuration supplies what it has about a pack; starts,
// by bay name, supplies the rest. In a start, state of charge, level, charger and
// whether the pack is plugged in are taken as given; a zero ambient, seed, charger
// current or time constant means the default. A bay without a start has a plugged-in
// pack that is half charged and 3 mm below its fill mark. The error names the bay,
// or a start that has no bay.
func Simulate(cfg *config.Config, starts map[string]sim.Opts) (*sim.Bench, map[string]*sim.Stand, error) {
	packs := map[string]config.Pack{}
	for _, p := range cfg.Packs {
		packs[p.Name] = p
	}
	bench, bays, used := sim.NewBench(), map[string]*sim.Stand{}, map[string]bool{}
	for i, b := range cfg.Bays {
		name, free := firstPack(&b, used)
		p, ok := packs[name]
		if !ok {
			return nil, nil, fmt.Errorf("simulate bay %s: there is no pack %q", b.Name, name)
		}
		start, ok := starts[b.Name]
		if !ok {
			start = sim.Opts{StateOfCharge: 0.5, LevelMM: p.FillMarkMM - 3, Connected: true}
		}
		o := simulatedPack(b.Name, i, p, start)
		o.FanRunUp = fanRunUp
		switch {
		case !free:
			o.Connected = false
		case b.Recognises():
			o.OwnSensor = p.Sensor
		}
		y, err := bench.Add(o, b.Wiring)
		if err != nil {
			return nil, nil, fmt.Errorf("simulate: %w", err)
		}
		bays[b.Name] = y
	}
	for name := range starts {
		if bays[name] == nil {
			return nil, nil, fmt.Errorf("simulate: a start is given for bay %q, which is not configured", name)
		}
	}
	return bench, bays, nil
}

// fanRunUp lets an airflow switch be seen off once, as the permit demands.
const fanRunUp = 2 * time.Second

// firstPack picks the pack that a bay starts with. If the bay has several, that is
// the first one that is not yet in another bay. If there is none, the bay starts
// empty.
func firstPack(b *config.Bay, used map[string]bool) (name string, free bool) {
	if len(b.Packs) == 0 {
		return b.Pack, true
	}
	for _, name := range b.Packs {
		if !used[name] {
			used[name] = true
			return name, true
		}
	}
	return b.Packs[0], false
}

// simulatedPack returns a start completed from the configuration.
func simulatedPack(name string, index int, p config.Pack, o sim.Opts) sim.Opts {
	const mildC = 22
	o.Name = name
	o.Cells, o.CapacityAh, o.RateHours, o.FullGravity = p.Cells, p.CapacityAh, p.RateHours, p.FullGravity
	o.FillMarkMM, o.ChargeLevelMM, o.VentWellMM = p.FillMarkMM, p.ChargeLevelMM, p.VentWellMM
	o.FreeSurfaceCM2, o.ElectrolyteML = p.FreeSurfaceCM2, p.ElectrolyteML
	if o.AmbientC == 0 {
		o.AmbientC = mildC
	}
	if o.Seed == 0 {
		o.Seed = uint64(index) + 1
	}
	return o
}
