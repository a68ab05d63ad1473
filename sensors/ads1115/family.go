package ads1115

import (
	"context"
	"fmt"

	"periph.io/x/conn/v3/physic"

	registers "bayward/sensors/ads1115/chip"
	"bayward/sensors/converter"
)

// supplyMaxV is the highest supply (data sheet, recommended operating conditions). An
// input cannot be read above the supply, whatever its range.
const supplyMaxV = 5.5

// Family is what the configuration accepts of an ADS1115.
var Family = converter.Family{
	Name: "ads1115", Title: "ADS1115", Bus: converter.I2C, FirstAddr: FirstAddr, LastAddr: LastAddr,
	Channels: []converter.Channel{input, input, input, input},
	Pairs:    Pairs(), Rates: samplesPerSecond[:], DefaultRate: 128,
	Open: open, Chip: registers.New,
}

var input = converter.Channel{
	Ranges: []float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}, DefaultV: 4.096, TopV: supplyMaxV, Steps: 32768,
}

// Pairs lists the pairs of inputs that can be measured against each other.
func Pairs() [][2]int {
	var all [][2]int
	for _, pins := range muxPins {
		if pins.minus != Ground {
			all = append(all, [2]int{pins.plus, pins.minus})
		}
	}
	return all
}

func open(p converter.Port) (converter.Dev, error) {
	return New(p.Bus, &Opts{Addr: p.Addr, Wait: p.Wait})
}

// Measure implements converter.Dev with Read.
func (d *Dev) Measure(ctx context.Context, s converter.Setting) (physic.ElectricPotential, error) {
	mux, gain, rate, err := settings(s)
	if err != nil {
		return 0, fmt.Errorf("%s: read: %w", d, err)
	}
	return d.Read(ctx, mux, gain, rate)
}

func settings(s converter.Setting) (Mux, Gain, Rate, error) {
	if err := Family.Check(s); err != nil {
		return 0, 0, 0, err
	}
	mux, _ := MuxFor(s.Channel, s.Minus)
	gain, _ := GainFor(converter.Volts(s.RangeV))
	rate, _ := RateFor(s.Rate)
	return mux, gain, rate, nil
}
