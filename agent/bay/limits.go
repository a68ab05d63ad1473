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
	ChargeMaxFactor   float64       // ampere-hours put in, as a multiple of capacity, that count as an overrun
	SettleFor         time.Duration // readings must be good this long before anything is granted
	OffMin            time.Duration // the contactor stays open at least this long
	CloseDelay        time.Duration // after the last hold or visit, before the contactor may close
	GasHoldUpMM       float64       // rise of the level on charge from gas held among the plates
	StaleAfter        time.Duration // the age at which a good reading stops counting
}

// Limit is the fixed data of one limit.
type Limit struct {
	Key     string // in the configuration, below limits
	Unit    string
	What    string  // what the limit does, for whoever edits the configuration
	Default float64 // used where the configuration sets none
	// Low and High bound what a configuration may set, both inclusive. A
	// configuration cannot make a limit less careful than that, so it cannot undo the
	// protection.
	Low, High float64
	// Below is the key of the limit that this one must stay below, "" for none.
	Below string
	Wise  Range
	// Source is the source of the default and of the wise range.
	Source string
	value  value
}

// Range is what others publish, or what the project considers wise where nothing
// is published. A value outside is accepted with a warning.
type Range struct {
	Low, High float64
}

// value gives access to a limit's field as a number in the limit's unit.
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

// Of returns the limit's value in its unit.
func (r *Limit) Of(l *Limits) float64 { return r.value.get(l) }

// Set sets the limit's value in its unit.
func (r *Limit) Set(l *Limits, v float64) { r.value.set(l, v) }

// LimitNamed returns the limit with that key, nil for an unknown key.
func LimitNamed(key string) *Limit {
	for i := range LimitTable {
		if LimitTable[i].Key == key {
			return &LimitTable[i]
		}
	}
	return nil
}

// DefaultLimits returns the limits used where the configuration sets none.
func DefaultLimits() Limits {
	var l Limits
	for i := range LimitTable {
		LimitTable[i].Set(&l, LimitTable[i].Default)
	}
	return l
}

const own = "project limit"

// LimitTable has one row for each limit, in the order of the example. It
// determines what the configuration accepts and warns about, its schema, and what
// check prints.
//
// To add a limit: add a field of Limits and a row here; a line in
// deploy/bayward.yaml that shows its default; update the configuration's schema
// (go test ./agent/config -run Schema -update); write the rule that uses it, with
// its key in Limits of the finding's row. go test ./agent/bay ./agent/config -run
// 'Limit|Example|Schema' names what is missing.
var LimitTable = [...]Limit{
	// The upper bound leaves room for a sensor that reads high.
	{
		Key: "charge_max_c", Unit: "°C", What: "no charge above this",
		Default: 51, Low: 20, High: 55, Wise: Range{38, 51},
		Source: "NAVEDTRA 14113: never above 125 °F (51.7 °C); TM 5-3820-256-24-4: reduce or stop there; UFGS 16262N interrupts at 110 °F (43.3 °C)",
		value:  number(func(l *Limits) *float64 { return &l.ChargeMaxC }),
	},
	{
		Key: "charge_resume_c", Unit: "°C", What: "charge again at or below this",
		Default: 38, Low: 0, High: 54, Below: "charge_max_c", Wise: Range{20, 38},
		Source: "UFGS 16262N: 100 °F (37.8 °C) after a stop at 110 °F; for a stop at 125 °F nothing is published; " + own,
		value:  number(func(l *Limits) *float64 { return &l.ChargeResumeC }),
	},
	// No standard fixes a temperature or a rest before watering. A level read 15 °C
	// above 25 °C is 1 to 2 mm too high in common cells (by the expansion of the acid),
	// and gassing has stopped an hour after the charge.
	{
		Key: "watering_max_c", Unit: "°C", What: "no watering above this",
		Default: 40, Low: 10, High: 50, Wise: Range{20, 43},
		Source: "above it charging is interrupted (UFGS 16262N), and the level reads 1 to 2 mm high; " + own,
		value:  number(func(l *Limits) *float64 { return &l.WateringMaxC }),
	},
	{
		Key: "near_ambient_k", Unit: "K", What: "no watering while the pack is warmer than the air by more than this",
		Default: 10, Low: 1, High: 20, Wise: Range{2, 15},
		Source: own,
		value:  number(func(l *Limits) *float64 { return &l.NearAmbientK }),
	},
	{
		Key: "fall_max_k_per_h", Unit: "K/h", What: "no watering while the pack cools faster than this",
		Default: 3, Low: 0.5, High: 10, Wise: Range{0.5, 5},
		Source: own,
		value:  number(func(l *Limits) *float64 { return &l.FallMaxKPerH }),
	},
	{
		Key: "rest_min_minutes", Unit: "minutes", What: "rest after a charge before watering",
		Default: 60, Low: 10, High: 2880, Wise: Range{60, 960},
		Source: "California Title 8, section 8386(e): no open light for 60 min after a charge; BGHW SP 02: ventilation for an hour after it",
		value:  span(time.Minute, func(l *Limits) *time.Duration { return &l.RestMin }),
	},
	// The lower explosive limit is 4 %.
	{
		Key: "hydrogen_max_pct", Unit: "% by volume", What: "no charge at or above this",
		Default: 2, Low: 0.1, High: 2, Wise: Range{0.4, 2},
		Source: "UFC 3-520-01, section 14-1.3.2.2: 2 % by volume; below 0.4 % a sensor's drift stops charges",
		value:  number(func(l *Limits) *float64 { return &l.HydrogenMaxPct }),
	},
	{
		Key: "hydrogen_resume_pct", Unit: "% by volume", What: "charge again below this",
		Default: 1, Low: 0.05, High: 1.9, Below: "hydrogen_max_pct", Wise: Range{0.1, 1},
		Source: "UFC 3-410-04N, chapter 8: 1 % is the design limit",
		value:  number(func(l *Limits) *float64 { return &l.HydrogenResumePct }),
	},
	// 8 h work, 8 h charge, 8 h cooling is the trade's rule of thumb. A charge a
	// little over twice as long is no longer a charge.
	{
		Key: "charge_max_hours", Unit: "h", What: "a longer charge is an overrun",
		Default: 18, Low: 1, High: 48, Wise: Range{8, 20},
		Source: "8 h is the trade's usual charge (common practice, no source)",
		value:  span(time.Hour, func(l *Limits) *time.Duration { return &l.ChargeMax }),
	},
	// 1.20 is the upper end of usual charge factors for vented cells without acid
	// circulation (from memory); a fifth more for an equalize charge.
	{
		Key: "charge_max_factor", Unit: "ampere-hours in over capacity", What: "ampere-hours in per ampere-hour of capacity; more is an overrun",
		Default: 1.44, Low: 1.05, High: 2, Wise: Range{1.15, 1.5},
		Source: "charge factors up to 1.20 with an equalize charge (from memory)",
		value:  number(func(l *Limits) *float64 { return &l.ChargeMaxFactor }),
	},
	// Thirty ticks: longer than any sensor's filter.
	{
		Key: "settle_seconds", Unit: "s", What: "readings must be good for this long before charging is allowed",
		Default: 30, Low: 5, High: 3600, Wise: Range{15, 600},
		Source: own,
		value:  span(time.Second, func(l *Limits) *time.Duration { return &l.SettleFor }),
	},
	// Spares the contactor.
	{
		Key: "off_min_seconds", Unit: "s", What: "the contactor stays open at least this long",
		Default: 60, Low: 5, High: 3600, Wise: Range{15, 900},
		Source: own,
		value:  span(time.Second, func(l *Limits) *time.Duration { return &l.OffMin }),
	},
	// Time to step back, and for whoever sees the countdown and is still there to hold.
	{
		Key: "close_delay_seconds", Unit: "s", What: "delay after the last hold or visit before the contactor may close",
		Default: 60, Low: 10, High: 600, Wise: Range{30, 300},
		Source: own,
		value:  span(time.Second, func(l *Limits) *time.Duration { return &l.CloseDelay }),
	},
	{
		Key: "gas_hold_up_mm", Unit: "mm", What: "least rise of the level from gas trapped between the plates on charge",
		Default: 3, Low: 0, High: 20, Wise: Range{1, 10},
		Source: "several millimetres (from memory); a probe that measures shows the pack's own over its charges",
		value:  number(func(l *Limits) *float64 { return &l.GasHoldUpMM }),
	},
	// Ten ticks bridge a few damaged answers of a 1-wire sensor and are short
	// compared with how fast a level or a temperature changes.
	{
		Key: "stale_seconds", Unit: "s", What: "a reading older than this is not used",
		Default: 10, Low: 2, High: 60, Wise: Range{2, 20},
		Source: own,
		value:  span(time.Second, func(l *Limits) *time.Duration { return &l.StaleAfter }),
	},
}
