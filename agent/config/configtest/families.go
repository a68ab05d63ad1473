package configtest

import (
	"fmt"

	"bayward/sensors/converter"
	"bayward/sensors/wiring"
)

// OnFamily puts every input of a bay on converters of one family, as many as it takes.
// Where the family has a channel for a shunt the current is measured there.
func OnFamily(w *wiring.Parts, f *converter.Family, cells int) {
	chips := places{f: f}
	if shunt := chips.next(true); shunt != nil {
		*w.Current = wiring.Current{Input: *shunt, Kind: "shunt", AmperesPerVolt: 1500}
	} else {
		w.Current.Input = *chips.next(false)
	}
	w.Voltage.Input = *chips.next(false)
	if top := w.Voltage.TopV(); top > 3*float64(cells) {
		w.Voltage.Ratio = 1
	}
	w.Level.Input, w.Hydrogen.Input = *chips.next(false), *chips.next(false)
}

// places hands out the channels of one chip after the other.
type places struct {
	f             *converter.Family
	chip, channel int
}

// next is the next channel for a shunt, or for a voltage against ground; nil if the
// family has none.
func (p *places) next(shunt bool) *wiring.Input {
	for tries := 0; tries < 2*len(p.f.Channels); tries++ {
		if p.channel == len(p.f.Channels) {
			p.chip, p.channel = p.chip+1, 0
		}
		c := p.f.Channels[p.channel]
		if c.Shunt == shunt {
			in := &wiring.Input{Converter: p.f.Name, Channel: p.channel, RangeV: c.DefaultV, Rate: p.f.DefaultRate}
			if c.Ranges == nil {
				in.RangeV = 4.096
			}
			if p.f.Bus == converter.SPI {
				in.SPI = fmt.Sprintf("0.%d", p.chip)
			} else {
				in.ADC = wiring.Address(p.f.FirstAddr) + wiring.Address(p.chip)
			}
			p.channel++
			return in
		}
		if shunt {
			return nil
		}
		p.channel++
	}
	return nil
}
