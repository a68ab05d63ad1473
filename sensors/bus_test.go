package sensors

import (
	"errors"
	"testing"

	"periph.io/x/conn/v3/i2c"

	"bayward/agent/reading"
)

// adapter is a bus that a program has opened, as on Linux 6.1 on the emulated board:
// after the adapter is pulled each transfer fails with EIO, and its number is free
// for the next adapter only after the last program has closed it.
type adapter struct {
	*converterBus
	gone, open *bool
}

var errIO = errors.New("sysfs-i2c: input/output error")

func (a adapter) Tx(addr uint16, w, r []byte) error {
	if *a.gone {
		return errIO
	}
	return a.converterBus.Tx(addr, w, r)
}

func (a adapter) Close() error { *a.open = false; return nil }

// usb is where adapters are plugged in: at most one at a time with the number.
type usb struct {
	chip    *converterBus
	plugged *bool // the adapter that holds the number: whether it is gone
	open    bool
	opened  int
}

func (u *usb) plug() bool {
	if u.open || u.plugged != nil && !*u.plugged {
		return false // the number is still taken
	}
	u.plugged = new(bool)
	return true
}

func (u *usb) pull() { *u.plugged = true }

func (u *usb) adapter() (i2c.BusCloser, error) {
	if u.plugged == nil || *u.plugged {
		return nil, errors.New("sysfs-i2c: bus #1 is not configured: open /dev/i2c-1: no such file or directory")
	}
	u.opened++
	u.open = true
	return adapter{u.chip, u.plugged, &u.open}, nil
}

// TestAdapterComesBack: a pulled adapter is closed, so that the next one can have
// its number, and is used without a restart.
func TestAdapterComesBack(t *testing.T) {
	b := newBench(t)
	u := &usb{chip: b.bus}
	if _, err := openLasting(u.adapter); err == nil {
		t.Fatal("opened an adapter that is not there")
	}
	u.plug()
	bus, err := openLasting(u.adapter)
	if err != nil {
		t.Fatal(err)
	}
	hw := b.hardware()
	hw.Bus = func(string) (i2c.Bus, error) { return bus, nil }
	bays := mustOpen(t, wired(), hw)
	if got := sample(t, bays[0]); !got.PackV.OK() {
		t.Fatalf("got %+v", got.PackV)
	}
	u.pull()
	for range 3 {
		if got := sample(t, bays[0]); got.PackV.Fault != reading.BusStuck || got.Level.Fault != reading.BusStuck {
			t.Errorf("pulled: got %+v, %+v", got.PackV, got.Level)
		}
	}
	if bus.String() == "fake" {
		t.Error("the name of the closed bus is that of an open one")
	}
	if !u.plug() {
		t.Fatal("the number is still taken")
	}
	if got := sample(t, bays[0]); !got.PackV.OK() {
		t.Errorf("plugged in again: got %+v", got.PackV)
	}
	if u.opened != 2 {
		t.Errorf("opened %d times", u.opened)
	}
}

// TestAbsentChipKeepsBus: a chip that does not acknowledge is no reason to close a
// bus, however the adapter reports it.
func TestAbsentChipKeepsBus(t *testing.T) {
	u := &usb{chip: newConverterBus()}
	u.plug()
	bus, err := openLasting(u.adapter)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"sysfs-i2c: no such device or address", "sysfs-i2c: remote I/O error"} {
		u.chip.err = errors.New(text)
		if err := bus.Tx(0x48, []byte{1}, nil); !errors.Is(err, u.chip.err) {
			t.Errorf("got %v", err)
		}
	}
	if u.opened != 1 || !u.open {
		t.Errorf("opened %d times, open %t", u.opened, u.open)
	}
}
