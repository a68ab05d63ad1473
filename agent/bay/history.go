package bay

import (
	"time"

	"bayward/agent/cellcount"
	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/water"
)

// history is the past of the pack in place, as far as decisions need it: its
// charges, its cool-down, its water, and the latches that it may have caused. It
// is open in one bay at a time.
type history struct {
	pack    *Pack
	charge  *charge.Tracker
	cool    *cooldown.Rest
	water   *water.Balance
	cells   *cellcount.Counter
	latched [interlock.NumCodes]bool
	opened  uint64 // how often it has been opened in a bay
}

// newHistory returns the history of a pack of which nothing is known yet.
func newHistory(p *Pack, s *Setup) history {
	l := &s.Limits
	h := history{pack: p}
	h.charge = charge.New(charge.Config{
		Cells: p.Cells, CapacityAh: p.CapacityAh, FullGravity: p.FullGravity, ElectrolyteML: p.ElectrolyteML, Factor: p.ChargeFactor,
		MaxFor: l.ChargeMax, MaxAh: l.ChargeMaxFactor * p.CapacityAh, HasCurrent: s.Fitted.Has(reading.PackCurrent),
	})
	h.cool = cooldown.New(cooldown.Config{
		WateringMaxC: l.WateringMaxC, NearAmbientK: l.NearAmbientK, FallMaxKPerH: l.FallMaxKPerH,
		RestMin: l.RestMin, HasAmbient: s.Fitted.Has(reading.AmbientTemperature), SensorShare: sensorShare(s.TempOnCase),
	})
	h.water = water.New(water.Config{
		Cells: p.Cells, ChargeLevelMM: p.ChargeLevelMM, FillMarkMM: p.FillMarkMM, VentWellMM: p.VentWellMM,
		FreeSurfaceCM2: p.FreeSurfaceCM2, ElectrolyteML: p.ElectrolyteML, FullGravity: p.FullGravity, Pilot: p.ProbeCell,
		HottestC: l.ChargeMaxC, GasHoldUpMM: l.GasHoldUpMM,
	})
	h.cells = cellcount.New(cellcount.Config{Cells: p.Cells, CapacityAh: p.CapacityAh, FullGravity: p.FullGravity})
	return h
}

func sensorShare(onCase bool) float64 {
	if onCase {
		return cooldown.CaseShare
	}
	return 1
}

// mostCareful returns a pack without a name that has the most careful value of
// each figure among the packs it may be.
func mostCareful(packs []Pack) *Pack {
	p := packs[0]
	p.Name = ""
	for i := range packs {
		o := &packs[i]
		p.CapacityAh, p.FullGravity = min(p.CapacityAh, o.CapacityAh), min(p.FullGravity, o.FullGravity)
		p.ChargeLevelMM = max(p.ChargeLevelMM, o.ChargeLevelMM)
		p.VentWellMM, p.FreeSurfaceCM2 = min(p.VentWellMM, o.VentWellMM), min(p.FreeSurfaceCM2, o.FreeSurfaceCM2)
		p.FillMarkMM = min(p.FillMarkMM, o.FillMarkMM)
		if o.ProbeCell != p.ProbeCell {
			p.ProbeCell = 0
		}
		p.ElectrolyteML, p.ChargeFactor = max(p.ElectrolyteML, o.ElectrolyteML), max(p.ChargeFactor, o.ChargeFactor)
	}
	return &p
}

// packReadings are the readings of the pack whose history is open.
type packReadings struct {
	now              time.Duration
	cellV, packC     reading.Reading
	currentA, finish reading.Reading // finish: the charger's contact
	countA           reading.Reading // the current for the count: not averaged
	ambientC         reading.Reading
	level            reading.Level
}

// take takes the readings that the history may use: none of the pack unless it is
// certainly this one, and no voltage unless a pack is connected.
func (o *packReadings) take(seen *Readings, nowA float64, cellV reading.Reading, sure, connected bool) {
	o.now, o.ambientC, o.level.At = seen.Now, seen.AmbientC, seen.Now
	if !sure {
		return
	}
	o.packC, o.level, o.currentA, o.finish = seen.PackC, seen.Level, seen.CurrentA, seen.ChargerComplete
	o.countA = o.currentA
	o.countA.Value = nowA
	if connected {
		o.cellV = cellV
	}
}

func (h *history) followCharge(o *packReadings) *charge.Status {
	h.charge.Step(&charge.Inputs{Now: o.now, CellV: o.cellV, CurrentA: o.currentA, CountA: o.countA, PackC: o.packC, Complete: o.finish})
	return h.charge.Status()
}

func (h *history) followCooldown(o *packReadings, c *charge.Status) *cooldown.Status {
	h.cool.Step(&cooldown.Inputs{
		Now: o.now, PackC: o.packC, AmbientC: o.ambientC,
		Full: c.Full, Resting: c.Ended && !c.Active, EndedAt: c.EndedAt,
	})
	return h.cool.Status()
}

// followWater counts from the level of the pilot cell when the visit opened.
func (h *history) followWater(o *packReadings, c *charge.Status, v *Visit, start *visitStart, blocked bool) *water.Status {
	if v.Open {
		start.netML = v.net()
	}
	h.water.Step(&water.Inputs{
		Now: o.now, Level: o.level, PackC: o.packC, Gassing: c.Flowing,
		GassingAh: c.GassedAh(), ChargeEnded: c.EndedAt, AnyCharge: c.Ended,
		Visit: v.Open && start.known, VisitMM: start.pilotMM, GivenML: &start.netML, AtCells: v.Open, Blocked: blocked,
	})
	return h.water.Status()
}

// totals is what the pack has accumulated, here and elsewhere.
func (h *history) totals() Totals {
	c := h.charge.Status()
	return Totals{c.TotalInAh, c.TotalGassingAh, c.Charges, c.ChargesFull}
}

// counts sums up what the packs of a bay have accumulated there.
type counts struct {
	before   Totals // what the packs before this one accumulated
	atOpened Totals // what this pack had accumulated when it came
}

// sum returns the counts including the present pack's.
func (c *counts) sum(now Totals) Totals {
	t, s := c.before, &c.atOpened
	t.InAh += now.InAh - s.InAh
	t.GassingAh += now.GassingAh - s.GassingAh
	t.Charges += now.Charges - s.Charges
	t.ChargesFull += now.ChargesFull - s.ChargesFull
	return t
}
