package sim

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// forgetAfter is how long the kernel keeps a sensor that is gone: its searches must
// miss it several times.
const forgetAfter = time.Minute

// scratchpad is the memory of a DS18B20.
type scratchpad [9]byte

// thermometer is one DS18B20 on the 1-wire bus.
type thermometer struct {
	id         string
	bus        string // the folder of its bus master
	bay        *Stand
	ambient    bool
	offsetC    float64
	plugged    bool
	goneAt     time.Duration
	nominalOhm float64    // of a platinum element, at 0 °C; 0 for a DS18B20
	lastPad    scratchpad // the last good answer, which the kernel shows with a bad one

	handK  float64 // how much a hand on it eventually warms it
	handAt time.Duration
	wasK   float64 // how much warmer it was at handAt
}

// handTau is how fast a hand warms a sensor in a metal sleeve (from memory).
const handTau = 20 * time.Second

// warmer returns how much a hand has warmed the sensor by now.
func (s *thermometer) warmer() float64 {
	if s.handK == 0 && s.wasK == 0 {
		return 0
	}
	gone := math.Exp(-(s.bay.bench.now - s.handAt).Seconds() / handTau.Seconds())
	return s.handK + (s.wasK-s.handK)*gone
}

// touch puts a hand on the sensor, which eventually warms it by k; 0 removes it.
func (s *thermometer) touch(k float64) {
	if s != nil {
		s.wasK, s.handK, s.handAt = s.warmer(), k, s.bay.bench.now
	}
}

// fit puts a sensor on the bus. An air sensor may be fitted again.
func (b *Bench) fit(id string, y *Stand, ambient bool) (*thermometer, error) {
	s := &thermometer{id: id, bus: busMaster, bay: y, ambient: ambient, plugged: true}
	for _, other := range b.sensors {
		if other.id != id {
			continue
		}
		if ambient && other.ambient {
			return other, nil
		}
		return s, fmt.Errorf("1-wire sensor %q: %w", id, ErrTaken)
	}
	if id == "" || strings.ContainsAny(id, "/\\") || id == "." || id == ".." || isMaster(id) {
		return s, fmt.Errorf("1-wire sensor %q is not the name of a device", id)
	}
	b.sensors = append(b.sensors, s)
	return s, nil
}

// plug puts the sensor on its bus or takes it off. It does nothing for a bay
// without a sensor.
func (s *thermometer) plug(now time.Duration, plugged bool) {
	if s == nil || s.plugged == plugged {
		return
	}
	s.plugged, s.goneAt = plugged, now
}

// known reports whether the kernel shows the sensor.
func (s *thermometer) known() bool { return s.plugged || s.bay.bench.now-s.goneAt < forgetAfter }

// answer returns the result of reading the sensor. good is the kernel's verdict.
func (s *thermometer) answer() (pad scratchpad, good bool) {
	switch {
	case !s.plugged: // nothing pulls the bus low: all ones
		for i := range pad {
			pad[i] = 0xff
		}
		return pad, false
	case !s.ambient && s.bay.faults[TemperaturePowerOn]:
		pad = powerOnPad
	default:
		pad = makePad(s.degreesC())
	}
	if !s.ambient && s.bay.faults[TemperatureCRC] {
		pad[1] ^= 0x20
		return pad, false
	}
	s.lastPad = pad
	return pad, true
}

func (s *thermometer) degreesC() float64 {
	if s.ambient {
		return s.bay.ambientC() + s.warmer()
	}
	return s.bay.pack.ProbeC() - s.offsetC + s.warmer()
}

// powerOnPad is the DS18B20's memory after power-on.
var powerOnPad = scratchpad{0x50, 0x05, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10, 0x1c}

// makePad returns the memory after a conversion of a temperature in °C, 12 bits:
// sixteenths of a degree.
func makePad(c float64) scratchpad {
	raw := int16(math.Round(min(max(c, -55), 125) * 16))
	low := byte(uint16(raw))
	pad := scratchpad{low, byte(uint16(raw) >> 8), 0x4b, 0x46, 0x7f, 0xff, 0x10 - low&0x0f, 0x10}
	pad[8] = crc8(pad[:8])
	return pad
}

// milliC returns the temperature that the kernel computes, in thousandths of a
// degree.
func (p scratchpad) milliC() int {
	return int(int16(uint16(p[1])<<8|uint16(p[0]))) * 1000 / 16
}

// crc8 returns the 1-wire CRC: x^8 + x^5 + x^4 + 1, least significant bit first.
func crc8(data []byte) byte {
	crc := byte(0)
	for _, b := range data {
		crc ^= b
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0x8c
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}

// slaveText returns the kernel's w1_slave: the answer with its verdict, then the
// last good answer with the temperature of this one.
func (s *thermometer) slaveText(pad scratchpad, good bool) string {
	verdict := "NO"
	if good {
		verdict = "YES"
	}
	return fmt.Sprintf("% x : crc=%02x %s\n% x t=%d\n", pad[:], crc8(pad[:8]), verdict, s.lastPad[:], pad.milliC())
}
