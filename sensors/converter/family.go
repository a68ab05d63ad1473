package converter

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// Bus is how a chip is connected.
type Bus uint8

// The buses.
const (
	I2C Bus = iota
	SPI
)

// Ground is the second input of a measurement against ground.
const Ground = -1

// Setting is one measurement.
type Setting struct {
	Channel int
	Minus   int     // the second input, or Ground
	RangeV  float64 // full scale, one of the channel's ranges
	Rate    int     // samples a second, one of the family's; 0 if it has none
}

// Dev is an opened chip. It is safe for use by several goroutines, and there must be
// only one for each chip.
type Dev interface {
	// Measure converts once, after the call. Errors wrap one of this package or the
	// context's error.
	Measure(ctx context.Context, s Setting) (physic.ElectricPotential, error)
	// String names chip and place.
	String() string
}

// Port is where a chip is connected. Bus and Addr are set for a family on I²C, SPI
// for one on SPI.
type Port struct {
	Bus  i2c.Bus
	Addr uint16
	SPI  spi.Port
	// Wait returns after d, or with the context's error when that ends first. Nil
	// waits in real time.
	Wait func(ctx context.Context, d time.Duration) error
}

// Family is one kind of chip.
type Family struct {
	Name  string // in the configuration: "ads1115"
	Title string // for people: "ADS1115"
	Bus   Bus
	// FirstAddr and LastAddr are the addresses on I²C that its pins can choose.
	FirstAddr, LastAddr uint16
	Channels            []Channel // by number
	Pairs               [][2]int  // of channels that can be measured against each other
	Rates               []int     // samples a second that can be chosen; nil if none can
	DefaultRate         int
	// Open makes the driver of a chip, without talking to it.
	Open func(p Port) (Dev, error)
	// Chip makes a simulated chip.
	Chip func(w World) Chip
}

// Channel is one input of a chip.
type Channel struct {
	// Ranges are the full scales, V, the widest first. Nil: any full scale from LowV
	// to HighV, as with a reference voltage, and it must be given.
	Ranges      []float64
	DefaultV    float64 // the range that is meant where none is given; for a shunt it is the narrowest
	LowV, HighV float64
	// TopV is the highest voltage that can be read whatever the range, as limited by
	// the supply; BottomV the lowest.
	TopV, BottomV float64
	Steps         float64 // in the full scale
	// Shunt: it measures both ends of a shunt and needs no second channel.
	Shunt bool
	// What is measured, where it is not a voltage against ground.
	What string
}

// Takes reports whether a channel has a full scale.
func (c *Channel) Takes(rangeV float64) bool {
	if c.Ranges == nil {
		return rangeV >= c.LowV && rangeV <= c.HighV
	}
	return slices.Contains(c.Ranges, rangeV)
}

// Accepts says which full scales it has: "6.144, 4.096 or 2.048 V".
func (c *Channel) Accepts() string {
	if c.Ranges == nil {
		return fmt.Sprintf("%g to %g V", c.LowV, c.HighV)
	}
	return Either(c.Ranges) + " V"
}

// Either lists numbers as alternatives: "8, 16 or 32".
func Either[T int | float64](all []T) string {
	texts := make([]string, len(all))
	for i, v := range all {
		texts[i] = strconv.FormatFloat(float64(v), 'f', -1, 64)
	}
	if len(texts) < 2 {
		return strings.Join(texts, "")
	}
	last := len(texts) - 1
	return strings.Join(texts[:last], ", ") + " or " + texts[last]
}

// HasPair reports whether plus can be measured against minus.
func (f *Family) HasPair(plus, minus int) bool { return slices.Contains(f.Pairs, [2]int{plus, minus}) }

// Check says what is wrong with a setting, nil for nothing: the chip has no such
// channel, pair, range or rate.
func (f *Family) Check(s Setting) error {
	if s.Channel < 0 || s.Channel >= len(f.Channels) {
		return fmt.Errorf("channel %d is not between 0 and %d, those of an %s", s.Channel, len(f.Channels)-1, f.Title)
	}
	c := &f.Channels[s.Channel]
	switch {
	case s.Minus != Ground && !f.HasPair(s.Channel, s.Minus):
		return fmt.Errorf("an %s cannot measure channel %d against %d", f.Title, s.Channel, s.Minus)
	case !c.Takes(s.RangeV):
		return fmt.Errorf("range_v %g must be %s", s.RangeV, c.Accepts())
	case f.Rates == nil && s.Rate != 0:
		return fmt.Errorf("rate %d: an %s has no rate to choose", s.Rate, f.Title)
	case f.Rates != nil && !slices.Contains(f.Rates, s.Rate):
		return fmt.Errorf("rate %d is not one of %s", s.Rate, Either(f.Rates))
	}
	return nil
}

// Volts returns a voltage as periph has it, in nanovolts, rounded.
func Volts(v float64) physic.ElectricPotential {
	return physic.ElectricPotential(math.Round(v * float64(physic.Volt)))
}

// RealWait waits in real time.
func RealWait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
