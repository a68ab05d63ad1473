package ina22x

import (
	"time"

	"periph.io/x/conn/v3/physic"

	registers "bayward/sensors/ina22x/chip"

	"bayward/sensors/converter"
)

// maker is "TI" in the register of the manufacturer.
const maker = 0x5449

// Model is what differs between the chips.
type Model struct {
	name      string
	die       uint16 // without its revision
	regMaker  byte
	regDie    byte
	regConfig byte   // starts a conversion
	keeps     uint16 // bits of it that read back as written
	regFlags  byte
	readyBit  uint16
	bytes     int  // of a result
	bits      uint // of them, on the left
	period    time.Duration
	inputs    [numChannels]input
	fixed     []fixed // written after a start or a failure, and read back with each reading
}

// input is one of the two voltages.
type input struct {
	name   string
	reg    byte
	start  uint16 // the configuration that converts it once
	mark   uint16 // bits of it that only concern what is not converted
	stepPV int64  // picovolts
	most   int32  // the last code of the range
	top    physic.ElectricPotential
}

type fixed struct {
	reg          byte
	value, keeps uint16
}

// INA226 is set to conversions of 4.156 ms, the mean of four; the other voltage's conversion
// time is the mark (SBOS547 7.6.1, "Configuration Register"; 7.6.2 and 7.6.3 for the
// steps of 2.5 µV and 1.25 mV; 7.6.7, CVRF).
var INA226 = Model{
	name: "INA226", die: 0x226, regMaker: 0xfe, regDie: 0xff, regConfig: 0, keeps: 0x0fff,
	regFlags: 6, readyBit: 1 << 3, bytes: 2, bits: 16, period: 4 * 4156 * time.Microsecond,
	inputs: [numChannels]input{
		Shunt: {"shunt", 1, 0x4000 | 1<<9 | 0b001<<6 | 0b110<<3 | 0b001, 0b011 << 6, 2_500_000, 0x7fff, physic.Volt},
		Bus:   {"bus voltage", 2, 0x4000 | 1<<9 | 0b110<<6 | 0b001<<3 | 0b010, 0b011 << 3, 1_250_000_000, 0x7fff, 36 * physic.Volt},
	},
}

// INA228 is set to conversions of 4.12 ms, the mean of four; the conversion time of the chip's
// temperature is the mark. The wide range of the shunt is set, and the flag of a finished
// conversion is to stay until it is read (SBOSA20 7.6.1.2, "ADC_CONFIG"; 7.6.1.5 and
// 7.6.1.6 for the steps of 312.5 nV and 195.3125 µV; 7.6.1.12, "DIAG_ALRT").
var INA228 = Model{
	name: "INA228", die: 0x228, regMaker: 0x3e, regDie: 0x3f, regConfig: 1, keeps: 0x0fff,
	regFlags: 0x0b, readyBit: 1 << 1, bytes: 3, bits: 20, period: 4 * 4120 * time.Microsecond,
	inputs: [numChannels]input{
		Shunt: {"shunt", 4, 0x2<<12 | 0b111<<9 | 0b111<<6 | 0b001<<3 | 1, 0b011 << 3, 312_500, 0x7ffff, physic.Volt},
		Bus:   {"bus voltage", 5, 0x1<<12 | 0b111<<9 | 0b111<<6 | 0b001<<3 | 1, 0b011 << 3, 195_312_500, 0x7ffff, 85 * physic.Volt},
	},
	fixed: []fixed{{0x00, 0, 1 << 4}, {0x0b, 1<<15 | 1, 1 << 15}},
}

// Family226 and Family228 are what the configuration accepts of the chips.
var (
	Family226 = family(&INA226, registers.New226, []float64{0.08192, 40.96}, 36)
	Family228 = family(&INA228, registers.New228, []float64{0.16384, 102.4}, 85)
)

// family: the ranges are those of the shunt and the bus; the bus can be read up to
// topV.
func family(m *Model, chip func(converter.World) converter.Chip, ranges []float64, topV float64) converter.Family {
	steps := float64(int(1) << (m.bits - 1))
	return converter.Family{
		Name: "ina" + m.name[3:], Title: m.name, Bus: converter.I2C, FirstAddr: FirstAddr, LastAddr: LastAddr,
		Channels: []converter.Channel{
			Shunt: {Ranges: ranges[:1], DefaultV: ranges[0], TopV: ranges[0], BottomV: -ranges[0], Steps: steps, Shunt: true},
			Bus:   {Ranges: ranges[1:], DefaultV: ranges[1], TopV: topV, Steps: steps},
		},
		Chip: chip,
		Open: func(p converter.Port) (converter.Dev, error) {
			return New(p.Bus, m, &Opts{Addr: p.Addr, Wait: p.Wait})
		},
	}
}
