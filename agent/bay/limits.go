package bay

import "time"

// Limits are the bounds that decisions use. DefaultLimits gives each with its
// source; the configuration may change them.
type Limits struct {
	ChargeMaxC        float64       // °C: no charge above
	ChargeResumeC     float64       // °C: charge again at or below
	WateringMaxC      float64       // °C: no watering above
	NearAmbientK      float64       // K: no watering while warmer than the air by more
	FallMaxKPerH      float64       // K/h: no watering while it falls faster
	RestMin           time.Duration // after the end of a charge, before watering
	HydrogenMaxPct    float64       // % by volume: no charge at or above
	HydrogenResumePct float64       // % by volume: charge again below
	ChargeMax         time.Duration // a charge that takes longer overruns
	ChargeMaxFactor   float64       // ampere-hours in over capacity that overrun
	SettleFor         time.Duration // readings must be good this long before anything is granted
	OffMin            time.Duration // the contactor stays open at least this long
	GasHoldUpMM       float64       // level raised by gas held among the plates on charge
}

// DefaultLimits are used where the configuration is silent.
func DefaultLimits() Limits {
	return Limits{
		ChargeMaxC:    52, // 125 °F: NAVEDTRA 14113; TM 5-3820-256-24-4
		ChargeResumeC: 38, // 100 °F: UFGS 16262N
		// No standard fixes a temperature or a rest before watering. These
		// are the project's own: a level read 15 °C above 25 °C is under
		// 1 mm high in common cells, and gassing has stopped for an hour.
		WateringMaxC: 40, NearAmbientK: 10, FallMaxKPerH: 3, RestMin: time.Hour,
		HydrogenMaxPct:    2, // UFC 3-520-01, section 14-1.3.2.2
		HydrogenResumePct: 1, // UFC 3-410-04N, chapter 8: the design limit
		// 8 h work, 8 h charge, 8 h cooling is the trade's rule of thumb
		// (common practice, no source); a charge twice as long and a bit is
		// not a charge any more.
		ChargeMax: 18 * time.Hour,
		// 1.20 is the upper end of usual charge factors for vented cells
		// without acid circulation (from memory); a fifth more for an
		// equalize charge.
		ChargeMaxFactor: 1.44,
		SettleFor:       30 * time.Second, // thirty ticks: longer than any sensor's filter
		OffMin:          time.Minute,      // spares the contactor; the project's own
		GasHoldUpMM:     3,                // several millimetres are typical (from memory)
	}
}
