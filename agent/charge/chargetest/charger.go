package chargetest

// Charger is what a charger puts out, given what it sees at its terminals and the
// hours since it began. Volts are for one cell, as the charger assumes; amperes are
// shares of the capacity.
type Charger func(hours, cellV, rate float64) (openV, ohmPerCell, maxRate float64)

// hard is a source with practically no resistance.
const hard = 1e-5

// ConstantCurrent gives one current at any voltage.
func ConstantCurrent(rate float64) Charger {
	return func(_, _, _ float64) (float64, float64, float64) { return 4, hard, rate }
}

// IU gives a constant current, then holds a voltage forever.
func IU(rate, v float64) Charger {
	return func(_, _, _ float64) (float64, float64, float64) { return v, hard, rate }
}

// IUIa holds the voltage until the current is down to finish, gives that for
// finishH hours, and ends.
func IUIa(rate, v, finish, finishH float64) Charger {
	stage, since := 0, 0.0
	return func(h, _, i float64) (float64, float64, float64) {
		switch {
		case stage == 0 && h > 0.05 && i <= finish:
			stage, since = 1, h
		case stage == 1 && h-since >= finishH:
			stage = 2
		}
		switch stage {
		case 0:
			return v, hard, rate
		case 1:
			return 4, hard, finish
		}
		return 0, hard, 0
	}
}

// TwoRate gives a constant current up to a voltage and then a lower one for a
// time: TM 10-6140-200-14, 2-9b(2).
func TwoRate(rate, toV, finish, finishH float64) Charger {
	stepped, since := false, 0.0
	return func(h, v, _ float64) (float64, float64, float64) {
		if !stepped && v >= toV {
			stepped, since = true, h
		}
		switch {
		case !stepped:
			return 4, hard, rate
		case h-since < finishH:
			return 4, hard, finish
		}
		return 0, hard, 0
	}
}

// W is an unregulated taper charger: the rated current at 2.0 V, half of it at
// 2.4 V (DIN 41774, from memory), for hours.
func W(rate, hours float64) Charger {
	return func(h, _, _ float64) (float64, float64, float64) {
		if h >= hours {
			return 0, hard, 0
		}
		return 2.8, 0.8 / rate, 2 * rate
	}
}

// Pulsed passes another charger's output for on out of every on+off seconds.
func Pulsed(c Charger, onS, offS float64) Charger {
	lastV, lastI := 0.0, 1.0
	return func(h, v, i float64) (float64, float64, float64) {
		if i > 0 {
			lastV, lastI = v, i
		}
		o, r, m := c(h, lastV, lastI)
		s := h * 3600
		if s-float64(int(s/(onS+offS)))*(onS+offS) >= onS {
			return 0, r, 0
		}
		return o, r, m
	}
}
