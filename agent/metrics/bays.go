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
)

// bay emits everything in one picture.
func (c *Collector) bay(out *shelf, p *bay.Picture) {
	out.flag(permitted, p.Permit.Granted, p.Bay)
	for code := interlock.NoCode + 1; code < interlock.NumCodes; code++ {
		out.flag(finding, p.Findings[code].Raised, p.Bay, code.String())
	}
	for s := bay.StageUnknown + 1; s < bay.NumStages; s++ {
		out.flag(stage, p.Stage == s, p.Bay, s.String())
	}
	readings(out, p)
	c.relayState(out, p)
	c.ages(out, p)
	derived(out, p)
	configured(out, p)
	c.watered(out, p)
}

// configured emits the limits that readings are compared with.
func configured(out *shelf, p *bay.Picture) {
	if p.Named() {
		out.value(bayInfo, 1, p.Bay, p.Pack.Name)
		out.value(levelLimit, p.Pack.ChargeLevelMM/mmPerMeter, p.Bay, "charge")
		out.value(levelLimit, p.Pack.FillMarkMM/mmPerMeter, p.Bay, "fill-mark")
		out.value(levelLimit, p.Pack.VentWellMM/mmPerMeter, p.Bay, "vent-well")
	}
	out.value(tempLimit, p.Limits.ChargeMaxC, p.Bay, "charge")
	out.value(tempLimit, p.Limits.WateringMaxC, p.Bay, "watering")
}

func readings(out *shelf, p *bay.Picture) {
	for _, m := range []struct {
		d *desc
		r reading.Reading
	}{{packV, p.Seen.PackV}, {packA, p.Seen.CurrentA}, {packC, p.Seen.PackC}, {ambientC, p.Seen.AmbientC}} {
		if m.r.OK() {
			out.value(m.d, m.r.Value, p.Bay)
		}
	}
	if p.Seen.Level.OK() {
		out.value(level, p.Seen.Level.LowMM/mmPerMeter, p.Bay)
	}
}

// relayState trusts the contact more than the order: it is the contactor that
// charges.
func (c *Collector) relayState(out *shelf, p *bay.Picture) {
	if p.Seen.ContactorClosed.OK() {
		out.flag(closed, p.Seen.ContactorClosed.Value >= 0.5, p.Bay)
		return
	}
	if c.src.RelayClosed == nil {
		return
	}
	if on, known := c.src.RelayClosed(p.Bay); known {
		out.flag(closed, on, p.Bay)
	}
}

func derived(out *shelf, p *bay.Picture) {
	cells := float64(p.Pack.Cells)
	if p.Cool.ReadyKnown {
		out.value(coolLeft, p.Cool.ReadyIn.Seconds(), p.Bay)
	}
	if p.Water.Known {
		out.value(waterNeed, p.Water.TotalML/mlPerLiter, p.Bay)
	}
	if p.Water.ForecastOK {
		out.value(forecast, p.Water.ForecastH*secondsPerHour, p.Bay)
	}
	t := &p.Totals // of the bay, because a counter must not fall when its pack leaves
	out.value(waterLost, electrolyte.WaterML(t.GassingAh)*cells/mlPerLiter, p.Bay)
	out.value(hydrogen, electrolyte.HydrogenL(t.GassingAh, electrolyte.ReferenceC)*cells/litersPerM3, p.Bay)
	out.value(charged, t.InAh*coulombsPerAh, p.Bay)
	out.value(gassed, t.GassingAh*coulombsPerAh, p.Bay)
	out.value(charges, float64(t.Charges), p.Bay)
	out.value(fulls, float64(t.ChargesFull), p.Bay)
}
