package config

import (
	"fmt"
	"reflect"
	"regexp"
	"strings"

	"bayward/agent/words"
	"bayward/sensors/converter"
	"bayward/sensors/wiring"
)

var (
	wiredSPI     = regexp.MustCompile(`^(SPI|/dev/spidev)?[0-9]\.[0-9]$`)
	simulatedSPI = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,31}$`)
)

// input checks one input by the row of its converter's family, and fills in what is
// left out. shunt: it measures across a shunt.
func (c wiringCheck) input(field string, in *wiring.Input, shunt bool) {
	f, ok := in.Family()
	if !ok || !c.usable(field+".converter") {
		return
	}
	c.place(field, in, f)
	last := len(f.Channels) - 1
	c.judge(field+".channel", &rule{ranged: true, high: float64(last), says: say("range-plain", "0", plain(float64(last)))}, reflect.ValueOf(in.Channel))
	if !c.usable(field + ".channel") {
		return
	}
	ch := &f.Channels[in.Channel]
	if ch.Shunt != shunt && (ch.Shunt || f.Pairs == nil) {
		c.reject(field+".channel", wrongChannel(f, shunt))
		return
	}
	c.rangeOf(field+".range_v", in, ch, shunt)
	if rate := field + ".rate"; f.Rates != nil {
		c.judge(rate, &rule{
			choices: numerals(f.Rates), fallback: fmt.Sprint(f.DefaultRate), optional: true,
			says: say("per-second", listed(numerals(f.Rates))),
		}, reflect.ValueOf(&in.Rate).Elem())
	} else if c.present(rate) {
		c.reject(rate, say("must-be-left-out-an-has-no", f.Title))
	}
}

// inputUsable reports whether an input and some other fields have no complaint so far.
func (c *checker) inputUsable(field string, others ...string) bool {
	return c.usable(others...) && c.usable(field+".converter", field+".channel", field+".range_v")
}

// place checks where on its bus the converter is.
func (c wiringCheck) place(field string, in *wiring.Input, f *converter.Family) {
	adc, spi := field+".adc", field+".spi"
	if f.Bus == converter.I2C {
		if c.present(spi) {
			c.reject(spi, say("must-be-left-out-an-is-on", f.Title))
		}
		c.judge(adc, &rule{
			ranged: true, low: float64(f.FirstAddr), high: float64(f.LastAddr),
			says: say("0x-to-0x-the-addresses-of-an", f.FirstAddr, f.LastAddr, f.Title),
		}, reflect.ValueOf(in.ADC))
		return
	}
	if c.present(adc) {
		c.reject(adc, say("must-be-left-out-an-is-on-2", f.Title))
	}
	c.spi(spi, in.SPI)
}

func wrongChannel(f *converter.Family, shunt bool) words.Sentence {
	var fit []int
	for i := range f.Channels {
		if f.Channels[i].Shunt == shunt {
			fit = append(fit, i)
		}
	}
	if len(fit) == 0 {
		return say("must-be-of-another-converter-an-measures", f.Title)
	}
	if shunt {
		return say("must-be-where-an-measures-a-shunt", listed(numerals(fit)), f.Title)
	}
	return say("must-be-where-an-measures-a-voltage", listed(numerals(fit)), f.Title)
}

// rangeOf checks the full scale. Left out, it is the channel's default, and for a
// shunt the narrowest.
func (c wiringCheck) rangeOf(field string, in *wiring.Input, ch *converter.Channel, shunt bool) {
	r := &rule{says: say("range", plain(ch.LowV), plain(ch.HighV), "V"), ranged: true, low: ch.LowV, high: ch.HighV}
	if ch.Ranges != nil {
		most := ch.DefaultV
		if shunt {
			most = ch.Ranges[len(ch.Ranges)-1]
		}
		r = &rule{says: say("volts", listed(numerals(ch.Ranges))), choices: numerals(ch.Ranges), fallback: plain(most), optional: true}
	}
	c.judge(field, r, reflect.ValueOf(&in.RangeV).Elem())
}

// pair checks the second channel of a shunt.
func (c wiringCheck) pair(field string, v *wiring.Current) {
	f, ok := v.Family()
	if !ok || !c.usable(strings.TrimSuffix(field, ".minus")+".channel") {
		return
	}
	switch ch := &f.Channels[v.Channel]; {
	case ch.Shunt && v.Minus != nil:
		c.reject(field, say("must-be-left-out-channel-of-an", v.Channel, f.Title))
	case ch.Shunt:
	case v.Minus == nil:
		c.missing(field, say("the-channel-of-the-other-side-of"))
	case !f.HasPair(v.Channel, *v.Minus):
		c.reject(field, say("must-make-one-of-the-pairs-that", f.Title, pairs(f)))
	}
}

func pairs(f *converter.Family) []words.Sentence {
	all := make([]words.Sentence, len(f.Pairs))
	for i, p := range f.Pairs {
		all[i] = say("channel-pair", p[0], p[1])
	}
	return all
}

func numerals[T int | float64](all []T) []string {
	texts := make([]string, len(all))
	for i, v := range all {
		texts[i] = plain(float64(v))
	}
	return texts
}
