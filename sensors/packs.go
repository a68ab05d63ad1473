package sensors

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"slices"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/sensors/w1therm"
)

// packFinder checks which packs' own sensors answer on the bus of a bay's plug. A
// sensor in the kernel's list proves nothing: the kernel keeps one that is gone for
// minutes. Only an answer with a correct checksum does.
type packFinder struct {
	bus     fs.FS
	packs   []packSensor
	others  []string // known numbers that belong to no pack
	offsetC float64
	now     func() time.Duration
	log     *slog.Logger // nil logs nothing
	strange string       // unknown numbers, as last logged
	teller
}

type packSensor struct {
	pack, number string
	sensor       *thermometer
}

var (
	errNoPack     = errors.New("no pack's own sensor answers")
	errManyPacks  = errors.New("the sensors of several packs answer")
	errNoBusThere = errors.New("there is no such 1-wire bus")
)

// sample reads every pack's sensor that the kernel lists. If exactly one answers,
// it sets the pack's name and temperature.
func (f *packFinder) sample(ctx context.Context, out *bay.Readings) {
	listed, err := w1therm.List(f.bus)
	if err != nil {
		f.report(out, errors.Join(errNoBusThere, err), reading.NoAnswer)
		return
	}
	f.tellStrange(listed)
	var found []string
	var last reading.Reading
	var lastErr error
	for i := range f.packs {
		p := &f.packs[i]
		if !slices.Contains(listed, p.number) {
			continue
		}
		r, readErr := p.sensor.celsius(ctx)
		if readErr != nil && !errors.Is(readErr, w1therm.ErrPowerOn) {
			err = readErr
			continue
		}
		found, last, lastErr = append(found, p.pack), r, readErr // even if it has no temperature yet
	}
	switch len(found) {
	case 0:
		f.report(out, errors.Join(errNoPack, err), reading.NoAnswer)
	case 1:
		if last.OK() {
			last.Value += f.offsetC
		}
		out.PackC, out.Pack = last, bay.PackSeen{Name: found[0], At: last.At, Fault: reading.None}
		f.tell(lastErr, last.Fault, last.At)
	default:
		f.report(out, errManyPacks, reading.Contradictory)
	}
}

func (f *packFinder) report(out *bay.Readings, err error, fault reading.Fault) {
	now := f.now()
	out.PackC, out.Pack = reading.Bad(fault, now), bay.PackSeen{At: now, Fault: fault}
	f.tell(err, fault, now)
}

// tellStrange logs the number of an unknown sensor, for the person who fits one to
// a pack and must enter it in the configuration.
func (f *packFinder) tellStrange(listed []string) {
	var strange []string
	for _, number := range listed {
		known := func(p packSensor) bool { return p.number == number }
		if !slices.ContainsFunc(f.packs, known) && !slices.Contains(f.others, number) {
			strange = append(strange, number)
		}
	}
	text := strings.Join(strange, " ")
	if text != f.strange && text != "" && f.log != nil {
		f.log.Info("found a thermometer that belongs to no pack in the configuration", "number", text)
	}
	f.strange = text
}

// packFinder opens what a bay needs to recognise its packs.
func (o *opener) packFinder(cfg *config.Config, b *config.Bay) (*packFinder, error) {
	t := b.Wiring.Temperature
	if o.hw.OneWire == nil {
		return nil, errors.New("this hardware has no 1-wire bus")
	}
	f := &packFinder{bus: o.hw.OneWire, offsetC: t.OffsetC, now: o.hw.Now, teller: o.teller(b, "temperature")}
	f.log = f.teller.log
	if t.Bus != "" {
		sub, err := fs.Sub(o.hw.OneWire, t.Bus)
		if err != nil {
			return nil, err
		}
		f.bus = sub
	}
	for i := range cfg.Bays {
		if other := cfg.Bays[i].Wiring.Temperature; other != nil {
			f.others = append(f.others, other.Pack, other.Ambient)
		}
	}
	for _, name := range b.Packs {
		p, err := cfg.PackNamed(name)
		if err != nil {
			return nil, err
		}
		dev, err := w1therm.New(f.bus, p.Sensor)
		if err != nil {
			return nil, err
		}
		f.packs = append(f.packs, packSensor{p.Name, p.Sensor, &thermometer{dev: dev, now: o.hw.Now}})
	}
	return f, nil
}
