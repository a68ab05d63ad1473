package sensors

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/sensors/modbus"
	"bayward/sensors/wiring"
)

// registers samples what a bay reads over one Modbus line. It takes as long as the
// devices' answers, and longer when they do not come.
type registers struct {
	name   string
	now    func() time.Duration
	inputs []registerInput
}

// registerInput is one register and the reading that it is.
type registerInput struct {
	of    reading.Sensor
	point *modbus.Point
	teller
}

// Name returns the line, such as "modbus meters".
func (m *registers) Name() string { return m.name }

// Sample reads each register in turn, those with a counter first: one that stands shows
// that nothing of its device can be believed. A device that does not answer is asked once, and so
// is a line that fails: each try would take the line's whole time.
func (m *registers) Sample(ctx context.Context, out *bay.Readings) {
	silent, gone := map[uint8]error{}, error(nil)
	for i := range m.inputs {
		in := &m.inputs[i]
		at, unit := m.now(), in.point.Unit
		err := gone
		if err == nil {
			err = silent[unit]
		}
		var v float64
		if err == nil {
			var age time.Duration
			v, age, err = in.point.Read(ctx)
			at -= age
		}
		switch {
		case errors.Is(err, modbus.ErrLine):
			gone = err
		case errors.Is(err, modbus.ErrNoAnswer), errors.Is(err, modbus.ErrFrozen):
			silent[unit] = err
		}
		fault := faultOf(err)
		put(out, in.of, v, at, fault)
		in.tell(err, fault, m.now())
	}
}

// put stores a value or its fault.
func put(out *bay.Readings, of reading.Sensor, v float64, at time.Duration, fault reading.Fault) {
	r := reading.Reading{Value: v, At: at, Fault: fault}
	switch {
	case of != reading.ElectrolyteLevel:
		*out.Place(of) = r
	case r.OK():
		out.Level = reading.LevelBetween(v, v, at)
	default:
		out.Level = reading.Level{At: at, Fault: fault}
	}
}

// registers opens what a bay reads over Modbus: a source for each line.
func (o *opener) registers(cfg *config.Config, b *config.Bay) ([]*registers, error) {
	var sources []*registers
	for i := range b.Wiring.Registers {
		r := &b.Wiring.Registers[i]
		field := fmt.Sprintf("registers[%d]", i)
		line, err := o.line(cfg, r.Line)
		if err != nil {
			return nil, partError(b, field, err)
		}
		in := registerInput{r.Sensor(), modbus.NewPoint(line, placeOf(r)), o.teller(b, field)}
		sources = onLine(sources, line.String(), o.hw.Now, in)
	}
	for _, m := range sources {
		slices.SortStableFunc(m.inputs, func(a, b registerInput) int {
			return cmp.Compare(counted(b.point), counted(a.point))
		})
	}
	return sources, nil
}

func counted(p *modbus.Point) int {
	if p.Counter != nil {
		return 1
	}
	return 0
}

func onLine(sources []*registers, name string, now func() time.Duration, in registerInput) []*registers {
	for _, m := range sources {
		if m.name == name {
			m.inputs = append(m.inputs, in)
			return sources
		}
	}
	return append(sources, &registers{name, now, []registerInput{in}})
}

// line finds or makes a line, which bays share.
func (o *opener) line(cfg *config.Config, name string) (*modbus.Line, error) {
	if l, ok := o.lines[name]; ok {
		return l, nil
	}
	if o.hw.Modbus == nil {
		return nil, errors.New("this hardware has no Modbus")
	}
	for i := range cfg.Modbus {
		l := &cfg.Modbus[i]
		if l.Name != name {
			continue
		}
		o.lines[name] = modbus.NewLine(modbus.LineOpts{
			Name: name, Dial: func() (modbus.Master, error) { return o.hw.Modbus(l) }, Quiet: l.Timeout(), Now: o.hw.Now, Wait: o.hw.Wait,
		})
		return o.lines[name], nil
	}
	return nil, fmt.Errorf("there is no Modbus line %q", name)
}

// placeOf is a register as its driver has it.
func placeOf(r *wiring.Register) modbus.Place {
	p := modbus.Place{
		Unit: uint8(r.Unit), Table: r.Table, Address: uint16(r.Address), Type: r.Type, LowWordFirst: r.LowWordFirst, Bit: uint(r.Bit),
		Scale: r.Scale, Zero: r.Zero, Low: r.Low, High: r.High, FaultValues: r.FaultValues,
	}
	if s := r.Status; s != nil {
		p.Status = &modbus.Status{Address: uint16(s.Address), Good: uint16(s.Good)}
	}
	if c := r.Counter; c != nil {
		p.Counter = &modbus.Counter{Address: uint16(c.Address), Within: time.Duration(c.WithinS * float64(time.Second))}
	}
	if a := r.Age; a != nil {
		p.Age = &modbus.Age{Address: uint16(a.Address), Unit: time.Duration(a.UnitS * float64(time.Second))}
	}
	return p
}
