package sensors

import (
	"errors"
	"syscall"
	"testing"
	"testing/fstest"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
	"periph.io/x/host/v3/gpioioctl"

	"bayward/agent/reading"
)

// What Linux 6.1 (drivers w1_therm, i2c-tiny-usb, gpio-pl061) did on the emulated
// board of deploy/emulated, tested here with fakes.

// TestThermometerComesLate: the kernel takes its time to search the 1-wire bus, so a
// sensor's folder may not exist when the agent starts. The sensor must be used once
// it does, without a restart.
func TestThermometerComesLate(t *testing.T) {
	b := newBench(t)
	delete(b.files, packID+"/w1_slave")
	bays := mustOpen(t, wired(), b.hardware())
	if got := sample(t, bays[0]).PackC; got.Fault != reading.NoAnswer {
		t.Fatalf("before the search: got %+v", got)
	}
	b.files[packID+"/w1_slave"] = w1("21500")
	b.now += reading.PackTemperature.Every()
	if got := sample(t, bays[0]).PackC; !got.OK() || got.Value != 21 {
		t.Errorf("after it: got %+v, want 21.5 with the offset of -0.5", got)
	}
}

// TestThermometerExchanged: a new sensor has a new folder. It must not be taken for
// the one in the configuration.
func TestThermometerExchanged(t *testing.T) {
	b := newBench(t)
	bays := mustOpen(t, wired(), b.hardware())
	if got := sample(t, bays[0]).PackC; !got.OK() {
		t.Fatalf("got %+v", got)
	}
	delete(b.files, packID+"/w1_slave")
	b.files["28-0316a2795c01/w1_slave"] = w1("20000")
	b.now += reading.PackTemperature.Every()
	if got := sample(t, bays[0]).PackC; got.Fault != reading.NoAnswer {
		t.Errorf("got %+v, want no answer", got)
	}
}

// TestEmptyFileForEveryDamage: w1_therm writes nothing, and reports no error, both
// when the CRC is wrong and when the sensor is gone. An empty text is a fault, in
// either file.
func TestEmptyFileForEveryDamage(t *testing.T) {
	for _, name := range []string{"w1_slave", "temperature"} {
		b := newBench(t)
		bays := mustOpen(t, wired(), b.hardware())
		delete(b.files, packID+"/w1_slave")
		for _, text := range []string{"", "\n"} {
			b.files[packID+"/"+name] = &fstest.MapFile{Data: []byte(text)}
			b.now += reading.PackTemperature.Every()
			if got := sample(t, bays[0]).PackC; got.Fault != reading.NoAnswer {
				t.Errorf("%s with %q: got %+v", name, text, got)
			}
		}
	}
}

// noEdges fails the test when an edge is requested or waited for: on the character
// device periph v3.8.5 treats a negative timeout as expired, so such a loop would
// keep a core busy. Contacts are read at each tick instead.
type noEdges struct {
	*gpiotest.Pin
	t testing.TB
}

func (p noEdges) In(pull gpio.Pull, edge gpio.Edge) error {
	if edge != gpio.NoEdge {
		p.t.Errorf("%s: edges are requested", p.N)
	}
	return p.Pin.In(pull, edge)
}

func (p noEdges) WaitForEdge(time.Duration) bool {
	p.t.Errorf("%s: the program waits for an edge", p.N)
	return false
}

func TestNobodyWaitsForEdges(t *testing.T) {
	b := newBench(t)
	for _, name := range []string{"GPIO5", "GPIO6", "GPIO13"} {
		b.pins[name] = noEdges{&gpiotest.Pin{N: name}, t}
	}
	bays := mustOpen(t, wired(), b.hardware())
	for range 3 {
		if got := sample(t, bays[0]); !got.ContactorClosed.OK() || !got.Airflow.OK() || !got.ChargerComplete.OK() {
			t.Errorf("got %+v, %+v, %+v", got.ContactorClosed, got.Airflow, got.ChargerComplete)
		}
	}
}

// TestOnlyKernelLines: any other pin, also behind an alias, reads low when it cannot be
// read, and low closes an active-low contact.
func TestOnlyKernelLines(t *testing.T) {
	if _, err := kernelPin(nil); !errors.Is(err, errNoLine) {
		t.Errorf("no pin: got %v", err)
	}
	plain := &gpiotest.Pin{N: "PLAIN"}
	for _, pin := range []gpio.PinIO{plain, &gpiotest.LogPinIO{PinIO: plain}, alias{plain}} {
		if got, err := kernelPin(pin); !errors.Is(err, errNoFaults) {
			t.Errorf("%s: got %v, %v", pin, got, err)
		}
	}
}

// alias is another name of a pin.
type alias struct{ gpio.PinIO }

func (a alias) Name() string     { return "ALIAS" }
func (a alias) Real() gpio.PinIO { return a.PinIO }

// fakeSet is a requested line.
type fakeSet struct {
	bits gpio.GPIOValue
	err  error
}

func (s *fakeSet) Read(mask gpio.GPIOValue) (gpio.GPIOValue, error) { return s.bits & mask, s.err }

// TestKernelLineReportsFailedRead: an input line is requested only once, even if two
// bays share it, and a failed read gives no level.
func TestKernelLineReportsFailedRead(t *testing.T) {
	set, asked := &fakeSet{}, 0
	l := &kernelLine{PinIn: &gpioioctl.GPIOLine{}, request: func(gpio.Pull) (lineSet, error) {
		if asked++; asked > 1 {
			return nil, syscall.EBUSY // as the kernel does
		}
		return set, nil
	}}
	if _, err := l.Level(); !errors.Is(err, errNotInput) {
		t.Errorf("before it is an input: got %v", err)
	}
	if err := l.In(gpio.PullUp, gpio.BothEdges); err == nil {
		t.Error("edges were accepted")
	}
	for range 2 {
		if err := l.In(gpio.PullUp, gpio.NoEdge); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.In(gpio.PullDown, gpio.NoEdge); !errors.Is(err, syscall.EBUSY) {
		t.Errorf("with the other resistor: got %v", err)
	}
	for _, want := range []gpio.Level{gpio.High, gpio.Low} {
		set.bits = map[gpio.Level]gpio.GPIOValue{gpio.High: 1}[want]
		if got, err := l.Level(); got != want || err != nil {
			t.Errorf("%s: got %s, %v", want, got, err)
		}
	}
	set.err = syscall.ENODEV
	if _, err := levelOf(l)(); !errors.Is(err, syscall.ENODEV) {
		t.Errorf("as a contact: got %v", err)
	}
}
