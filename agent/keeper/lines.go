package main

import (
	"errors"
	"fmt"
	"slices"

	"periph.io/x/conn/v3/driver/driverreg"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/host/v3/gpioioctl"

	"bayward/agent/lease"
)

// line is an output that can be returned to the kernel.
type line interface {
	lease.Output
	Close()
}

// finder finds a line by its name. It returns one in any case.
type finder = func(name string) line

// kernelLine finds a line of the kernel's character devices. The kernel keeps these,
// and no others, from other programs.
func kernelLine(name string) line {
	_, err := driverreg.Init() // works once
	if l, ok := gpioreg.ByName(name).(*gpioioctl.GPIOLine); ok {
		return l
	}
	return missing{errors.Join(fmt.Errorf("the kernel has no line %s (see gpioinfo; is the user in group gpio?)", name), err)}
}

// missing is a line that does not exist.
type missing struct{ err error }

func (m missing) Out(gpio.Level) error { return m.err }

func (m missing) Close() {}

// takeLow drives every line of a list low, as many as it can, and returns the keeper
// of those in use, whose errors are err. The lines that were used before go back to
// the kernel; their errors are old.
func takeLow(list lease.List, find finder) (k *lease.Keeper, old, err error) {
	var bays []lease.Lines
	var used []string
	for _, row := range list.Rows {
		bay := lease.Lines{Row: row, Charge: find(row.Charge)}
		if row.Heartbeat != "" {
			bay.Beat = find(row.Heartbeat)
		}
		bays, used = append(bays, bay), append(used, row.Lines()...)
	}
	k, err = lease.NewKeeper(bays)
	for _, row := range list.Old {
		for _, name := range row.Lines() {
			if slices.Contains(used, name) {
				continue
			}
			l := find(name)
			if e := l.Out(gpio.Low); e != nil {
				old = errors.Join(old, fmt.Errorf("drive the old line %s of %s low: %w", name, row.Bay, e))
			}
			l.Close()
		}
	}
	return k, old, err
}
