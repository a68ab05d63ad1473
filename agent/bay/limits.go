package bay

import "time"

// Limits are the bounds that decisions use. LimitTable has a row for each, with
// unit, range, default and source.
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
	StaleAfter        time.Duration // the age at which a good reading stops counting
}

// Limit is everything that is fixed about one limit.
type Limit struct {
	Key     string // in the configuration, below limits
	Unit    string
	What    string  // it does, for whoever configures it
	Default float64 // where the configuration is silent
	// Low and High are what a configuration may set, both included. They keep it
	// from undoing the protection: no limit can be set less careful than that.
	Low, High float64
	// Below is the key of the limit that this one must stay below, "" for none.
	Below string
	Wise  Range
	// Source is that of the default and of what is wise.
	Source string
	value  value
}

// Range is what others publish, or what the project takes for wise where nobody
// does. A value outside is accepted and warned of.
type Range struct {
	Low, High float64
	Better    string // what to do instead
}

// value is a limit's place, as a number in the limit's unit.
type value struct {
	get func(*Limits) float64
	set func(*Limits, float64)
}

func number(of func(*Limits) *float64) value {
	return value{func(l *Limits) float64 { return *of(l) }, func(l *Limits, v float64) { *of(l) = v }}
}

func span(unit time.Duration, of func(*Limits) *time.Duration) value {
	return value{
		func(l *Limits) float64 { return float64(*of(l)) / float64(unit) },
		func(l *Limits, v float64) { *of(l) = time.Duration(v * float64(unit)) },
	}
}

// Of is the limit's value in its unit.
func (r *Limit) Of(l *Limits) float64 { return r.value.get(l) }

// Set gives the limit a value in its unit.
func (r *Limit) Set(l *Limits, v float64) { r.value.set(l, v) }

// LimitNamed finds a limit by its key; nil for a key that is none.
func LimitNamed(key string) *Limit {
	for i := range LimitTable {
		if LimitTable[i].Key == key {
			return &LimitTable[i]
		}
	}
	return nil
}

// DefaultLimits are used where the configuration is silent.
func DefaultLimits() Limits {
	var l Limits
	for i := range LimitTable {
		LimitTable[i].Set(&l, LimitTable[i].Default)
	}
	return l
}
