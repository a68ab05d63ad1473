package electrolyte

import "math"

// Self-discharge of a charged cell in good condition: loss of gravity per day at
// 50, 80 and 100 °F, in the first ten days (TM 9-6140-200-14, 4-8c).
const (
	lossAt50F  = 0.0003
	lossAt80F  = 0.0010
	lossAt100F = 0.0025

	at50FC  = (50 - 32) / 1.8
	at80FC  = (80 - 32) / 1.8
	at100FC = (100 - 32) / 1.8
)

// Range of temperature of [SelfDischargePerDay], °C.
const (
	MinSelfDischargeC = 0.0
	MaxSelfDischargeC = 50.0
)

// SelfDischargePerDay returns the part of a full charge that a resting, charged
// cell loses in a day at atC: 0.0071 at 26.7 °C. It takes published falls of
// gravity over [GravitySpan], log-linear between 10 and 37.8 °C and along the end
// slopes beyond. Range: atC is clamped to [MinSelfDischargeC, MaxSelfDischargeC].
//
// Error: a factor of 2. The rate falls after the first ten days, and rises with
// age and antimony; TM 5-1185 prints 0.001 of gravity per day as the mean of a
// month below 80 °F, three times this curve at 10 °C.
//
// Source: TM 9-6140-200-14, 4-8c.
func SelfDischargePerDay(atC float64) float64 {
	c := clamp(atC, MinSelfDischargeC, MaxSelfDischargeC)
	if c < at80FC {
		return lossAt80F / GravitySpan * math.Pow(lossAt50F/lossAt80F, (at80FC-c)/(at80FC-at50FC))
	}
	return lossAt80F / GravitySpan * math.Pow(lossAt100F/lossAt80F, (c-at80FC)/(at100FC-at80FC))
}
