package metrics

import (
	"bayward/agent/bay"
	"bayward/agent/electrolyte"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

const (
	coulombsPerAh  = 3600
	secondsPerHour = 3600
	mmPerMeter     = 1000
	mlPerLiter     = 1000
	litersPerM3    = 1000
	percent        = 100
)

// bay emits everything in one picture.
func (c *Collector) bay(out sink, p *bay.Picture) {
	out.flag(permitted, labels{p.Bay}, p.Permit.Granted)
	for code := interlock.NoCode + 1; code < interlock.NumCodes; code++ {
		out.flag(finding, labels{p.Bay, code.String()}, p.Findings[code].Raised)
	}
	for s := bay.StageUnknown + 1; s < bay.NumStages; s++ {
		out.flag(stage, labels{p.Bay, s.String()}, p.Stage == s)
	}
	readings(out, p)
	c.relayState(out, p)
	c.ages(out, p)
	derived(out, p)
	proofs(out, p)
	configured(out, p)
	c.watered(out, p)
}

// configured emits the limits that readings are compared with.
func configured(out sink, p *bay.Picture) {
	if p.Named() {
		out(bayInfo, labels{p.Bay, p.Pack.Name}, 1)
		out(levelLimit, labels{p.Bay, "charge"}, p.Pack.ChargeLevelMM/mmPerMeter)
		out(levelLimit, labels{p.Bay, "fill-mark"}, p.Pack.FillMarkMM/mmPerMeter)
		out(levelLimit, labels{p.Bay, "vent-well"}, p.Pack.VentWellMM/mmPerMeter)
	}
	out(tempLimit, labels{p.Bay, "charge"}, p.Limits.ChargeMaxC)
	out(tempLimit, labels{p.Bay, "watering"}, p.Limits.WateringMaxC)
}

func readings(out sink, p *bay.Picture) {
	for _, m := range []struct {
		d *desc
		r reading.Reading
	}{{packV, p.Seen.PackV}, {packA, p.Seen.CurrentA}, {packC, p.Seen.PackC}, {ambientC, p.Seen.AmbientC}} {
		if m.r.OK() {
			out(m.d, labels{p.Bay}, m.r.Value)
		}
	}
	if gas := p.Seen.HydrogenPct; gas.OK() {
		out(hydrogenIn, labels{p.Bay}, gas.Value/percent)
	}
	if air := p.Seen.Airflow; air.OK() {
		out.flag(airflow, labels{p.Bay}, air.Value >= 0.5)
	}
	if p.Seen.Level.Usable() {
		out(level, labels{p.Bay}, p.Seen.Level.LowMM/mmPerMeter)
	}
}

// relayState trusts the contact more than the order: it is the contactor that
// charges.
func (c *Collector) relayState(out sink, p *bay.Picture) {
	if p.Seen.ContactorClosed.OK() {
		out.flag(closed, labels{p.Bay}, p.Seen.ContactorClosed.Value >= 0.5)
		return
	}
	if c.src.RelayClosed == nil {
		return
	}
	if on, known := c.src.RelayClosed(p.Bay); known {
		out.flag(closed, labels{p.Bay}, on)
	}
}

// proofs tells how long ago each sensor showed that it lives.
func proofs(out sink, p *bay.Picture) {
	for s := range p.Proofs {
		if at := &p.Proofs[s]; at.Known {
			out(proofAge, labels{p.Bay, reading.Sensor(s).String()}, max(p.Now-at.At, 0).Seconds())
		}
	}
}

func derived(out sink, p *bay.Picture) {
	if p.Amps.ZeroKnown {
		out(zeroA, labels{p.Bay}, p.Amps.ZeroA)
	}
	if p.Amps.NoiseKnown {
		out(noiseA, labels{p.Bay}, p.Amps.NoiseA)
	}
	cells := float64(p.Pack.Cells)
	if p.Cool.ReadyKnown {
		out(coolLeft, labels{p.Bay}, p.Cool.ReadyIn.Seconds())
	}
	if p.Water.Known {
		out(waterNeed, labels{p.Bay}, p.Water.TotalML/mlPerLiter)
	}
	if p.Water.ForecastOK {
		out(forecast, labels{p.Bay}, p.Water.ForecastH*secondsPerHour)
	}
	if p.Water.ReadDueOK {
		out(readDue, labels{p.Bay}, p.Water.ReadDueH*secondsPerHour)
	}
	t := &p.Totals // of the bay, because a counter must not fall when its pack leaves
	out(waterLost, labels{p.Bay}, electrolyte.WaterML(t.GassingAh)*cells/mlPerLiter)
	out(hydrogen, labels{p.Bay}, electrolyte.HydrogenL(t.GassingAh, electrolyte.ReferenceC)*cells/litersPerM3)
	out(charged, labels{p.Bay}, t.InAh*coulombsPerAh)
	out(gassed, labels{p.Bay}, t.GassingAh*coulombsPerAh)
	out(charges, labels{p.Bay}, float64(t.Charges))
	out(fulls, labels{p.Bay}, float64(t.ChargesFull))
}
