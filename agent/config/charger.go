package config

import "bayward/agent/electrolyte"

// ratedMaxA is more than any charger of one pack gives.
const ratedMaxA = 1000

func (c *checker) charger(field string, ch *Charger) {
	if ch == nil || c.bad[field] {
		return
	}
	c.word(field+".curve", &ch.Curve, electrolyte.CurveUnknown.String(),
		electrolyte.CurveIU.String(), electrolyte.CurveIUI.String(), electrolyte.CurveTaper.String(),
		electrolyte.CurveUnregulated.String(), electrolyte.CurveUnknown.String())
	rated := field + ".rated_a"
	switch {
	case c.present(rated):
		c.number(rated, ch.RatedA, 0.1, ratedMaxA, "A, the charger's rated output")
	case ch.Curve == electrolyte.CurveUnregulated.String():
		c.missing(rated, "the charger's rated output current in A, by which an unregulated charger is judged")
	}
}

// Characteristic is the charger's for ventilation, and its rated current; a bay
// without a charger entry has neither.
func (b *Bay) Characteristic() (curve electrolyte.ChargerCurve, ratedA float64) {
	if b.Charger == nil {
		return electrolyte.CurveUnknown, 0
	}
	curve, err := electrolyte.ParseChargerCurve(b.Charger.Curve)
	if err != nil {
		curve = electrolyte.CurveUnknown // Parse lets no other word through
	}
	return curve, b.Charger.RatedA
}
