package sim

import (
	"errors"
	"fmt"
	"math"
	"time"

	protocol "github.com/simonvetter/modbus"

	"bayward/sensors/wiring"
)

// cell is one word of a table of a device.
type cell struct {
	unit    uint8
	table   string
	address uint16
}

// word is what a cell holds: of a bay, and what it holds now.
type word struct {
	bay *Stand
	now func() uint16
}

// ModbusLine is a simulated line with its devices. It answers as the protocol library
// does for what the devices send: what is on the wire has its own tests there.
type ModbusLine struct {
	bench *Bench
	cells map[cell]word
	kept  map[cell]uint16 // what a frozen device shows
	took  time.Duration   // of a transaction
	wait  time.Duration   // for an answer that does not come
}

var errClosedLine = errors.New("no such file or directory")

// Modbus opens a line by its name in the configuration.
func (b *Bench) Modbus(l *wiring.Line) (*ModbusLine, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	found, ok := b.lines[l.Name]
	if !ok || found.faulty(ModbusLineGone) {
		return nil, errClosedLine
	}
	found.wait = l.Timeout()
	return found, nil
}

// Close closes the line, which can be opened again.
func (m *ModbusLine) Close() error { return nil }

// faulty reports whether any bay on the line has a fault.
func (m *ModbusLine) faulty(f FaultKind) bool {
	for _, w := range m.cells {
		if w.bay.faults[f] {
			return true
		}
	}
	return false
}

// Read answers a request.
func (m *ModbusLine) Read(unit uint8, table string, address, count uint16) ([]uint16, error) {
	m.bench.mu.Lock()
	defer m.bench.mu.Unlock()
	if m.faulty(ModbusLineGone) {
		return nil, errClosedLine
	}
	m.bench.busTime += m.took
	words := make([]uint16, 0, count)
	for i := range count {
		at := cell{unit, table, address + i}
		w, ok := m.cells[at]
		if !ok {
			return nil, m.strange(unit)
		}
		if err := m.broken(w.bay); err != nil {
			return nil, err
		}
		if w.bay.faults[ModbusFrozen] {
			words = append(words, m.kept[at])
			continue
		}
		words = append(words, w.now())
	}
	return words, nil
}

// keep lets the bay's devices hold what they show now.
func (y *Stand) keep() {
	for _, m := range y.bench.lines {
		for at, w := range m.cells {
			if w.bay == y {
				m.kept[at] = w.now()
			}
		}
	}
}

// strange answers for a register that is not there.
func (m *ModbusLine) strange(unit uint8) error {
	for at := range m.cells {
		if at.unit == unit {
			return protocol.ErrIllegalDataAddress
		}
	}
	m.bench.busTime += m.wait
	return protocol.ErrRequestTimedOut
}

// broken is what a bay's fault makes of an answer.
func (m *ModbusLine) broken(y *Stand) error {
	switch {
	case y.faults[ModbusSilent]:
		m.bench.busTime += m.wait
		return protocol.ErrRequestTimedOut
	case y.faults[ModbusDamaged]:
		return protocol.ErrBadCRC
	case y.faults[ModbusShort]:
		return protocol.ErrShortFrame
	case y.faults[ModbusOther]:
		return protocol.ErrBadUnitId
	case y.faults[ModbusException]:
		return protocol.ErrIllegalDataAddress
	case y.faults[ModbusBusy]:
		return protocol.ErrServerDeviceBusy
	}
	return nil
}

// wireRegisters puts the bay's readings into the registers that it is read from.
func (y *Stand) wireRegisters(w *wiring.Parts) error {
	var errs []error
	for i := range w.Registers {
		errs = append(errs, y.wireRegister(&w.Registers[i]))
	}
	return errors.Join(errs...)
}

func (y *Stand) wireRegister(r *wiring.Register) error {
	if r.Line == "" || r.Scale == 0 {
		return fmt.Errorf("register of %q on line %q with a scale of %g", r.Reading, r.Line, r.Scale)
	}
	m := y.bench.lines[r.Line]
	if m == nil {
		m = &ModbusLine{bench: y.bench, cells: map[cell]word{}, kept: map[cell]uint16{}, took: 20 * time.Millisecond}
		y.bench.lines[r.Line] = m
	}
	place := func(address int, now func() uint16) {
		m.cells[cell{uint8(r.Unit), r.Table, uint16(address)}] = word{y, now}
	}
	switch r.Type {
	case "uint32", "int32", "float32":
		for i := range 2 {
			place(r.Address+i, func() uint16 {
				return half(bits32(r.Type, y.raw(r)), i == 0 != (r.LowWordFirst != y.faults[ModbusSwapped]))
			})
		}
	case "bit":
		place(r.Address, func() uint16 { return uint16(math.Round(y.raw(r))) << r.Bit })
	default:
		place(r.Address, func() uint16 { return uint16(int64(math.Round(y.raw(r)))) })
	}
	y.wireCompanions(r, place)
	return nil
}

// wireCompanions fills the registers that show whether a device lives.
func (y *Stand) wireCompanions(r *wiring.Register, place func(address int, now func() uint16)) {
	if c := r.Status; c != nil {
		place(c.Address, func() uint16 {
			if y.deviceFails(r.Reading) {
				return uint16(c.Good) + 1
			}
			return uint16(c.Good)
		})
	}
	if c := r.Counter; c != nil {
		place(c.Address, func() uint16 { return uint16(int64(y.bench.clock() / (500 * time.Millisecond))) })
	}
	if c := r.Age; c != nil {
		place(c.Address, func() uint16 { return 0 })
	}
}

// raw is the number that a device has in a register.
func (y *Stand) raw(r *wiring.Register) float64 {
	if len(r.FaultValues) > 0 && y.deviceFails(r.Reading) {
		return r.FaultValues[0]
	}
	v := y.measured(r.Reading)
	if r.Reading == "level" {
		v = min(max(v, r.Low), r.High) // a probe's range ends
	}
	return v/r.Scale + r.Zero
}

// bits32 are the bits of a number of two words.
func bits32(typ string, v float64) uint32 {
	if typ == "float32" {
		return math.Float32bits(float32(v))
	}
	return uint32(int64(math.Round(v)))
}

func half(two uint32, high bool) uint16 {
	if high {
		return uint16(two >> 16)
	}
	return uint16(two)
}

// deviceFails reports whether the device's own sensor has failed.
func (y *Stand) deviceFails(what string) bool {
	return y.faults[ModbusFailure] || what == "level" && (y.faults[ProbeOpen] || y.faults[ProbeShort])
}

// measured is what a device measures, in the unit of the reading.
func (y *Stand) measured(what string) float64 {
	switch what {
	case "pack-voltage":
		if y.connected && !y.faults[SenseOpen] {
			return y.pack.Volts()
		}
	case "pack-current":
		if y.connected {
			return y.pack.Amps()
		}
	case "pack-temperature":
		return y.packSensor.degreesC()
	case "ambient-temperature":
		return y.airSensor.degreesC()
	case "level":
		return y.probeMM()
	case "hydrogen":
		return max(y.room.Percent(), y.gasPct)
	case "contactor-feedback":
		return truth(y.contactor.closedNow && !y.faults[FeedbackBroken] || y.faults[FeedbackShorted])
	case "airflow":
		return truth(y.closed("airflow", false))
	case "charger-complete":
		return truth(y.closed("charger_complete", false))
	}
	return 0
}

func truth(so bool) float64 {
	if so {
		return 1
	}
	return 0
}
