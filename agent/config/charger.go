package config

import "bayward/agent/electrolyte"

func (c *checker) charger(field string, ch *Charger) {
	if ch == nil || c.bad[field] {
		return
	}
	c.fields(field, ch)
	if rated := field + ".rated_a"; !c.present(rated) && ch.Curve == electrolyte.CurveUnregulated.String() {
		c.missing(rated, say("the-charger-s-rated-output-current-in"))
	}
}

// Characteristic returns the charger's curve for the ventilation and its rated
// current in A. Both are unknown for a bay without a charger entry.
func (b *Bay) Characteristic() (curve electrolyte.ChargerCurve, ratedA float64) {
	if b.Charger == nil {
		return electrolyte.CurveUnknown, 0
	}
	curve, err := electrolyte.ParseChargerCurve(b.Charger.Curve)
	if err != nil {
		curve = electrolyte.CurveUnknown // Parse accepts no other word
	}
	return curve, b.Charger.RatedA
}
