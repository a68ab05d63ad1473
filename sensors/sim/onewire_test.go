package sim

import (
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

// TestCRC: the worked example of Maxim application note 27: the ROM code
// 02 1C B8 01 00 00 00 has the CRC A2; and the DS18B20's power-on memory.
func TestCRC(t *testing.T) {
	if got := crc8([]byte{0x02, 0x1c, 0xb8, 0x01, 0, 0, 0}); got != 0xa2 {
		t.Errorf("0x%02x", got)
	}
	if got := crc8(powerOnPad[:8]); got != powerOnPad[8] {
		t.Errorf("power-on memory: 0x%02x", got)
	}
}

// TestScratchpad: DS18B20 data sheet, table 1, temperature and data. The whole
// memory at 23.125 °C is a sample seen in many public logs of w1_therm.
func TestScratchpad(t *testing.T) {
	for c, want := range map[float64]uint16{
		125: 0x07d0, 85: 0x0550, 25.0625: 0x0191, 10.125: 0x00a2, 0.5: 0x0008, 0: 0,
		-0.5: 0xfff8, -10.125: 0xff5e, -25.0625: 0xfe6f, -55: 0xfc90,
	} {
		pad := makePad(c)
		if got := uint16(pad[1])<<8 | uint16(pad[0]); got != want {
			t.Errorf("%v °C: 0x%04x, want 0x%04x", c, got, want)
		}
	}
	if got, want := makePad(23.125), (scratchpad{0x72, 0x01, 0x4b, 0x46, 0x7f, 0xff, 0x0e, 0x10, 0x57}); got != want {
		t.Errorf("% x, want % x", got[:], want[:])
	}
}

func readText(t *testing.T, files fs.FS, path string) string {
	t.Helper()
	text, err := fs.ReadFile(files, path)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return string(text)
}

// TestKernelText: the lines of the kernel's w1_slave and temperature files.
func TestKernelText(t *testing.T) {
	b := NewBench()
	o, w := common("bay-1")
	o.AmbientC = 23.125
	y := mustAdd(t, b, o, w)
	files := b.OneWire()
	if err := fstest.TestFS(files, "28-0000000000a1/w1_slave", "28-0000000000b2/temperature", "w1_bus_master1/w1_master_slaves"); err != nil {
		t.Error(err)
	}
	want := "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
	if got := readText(t, files, "28-0000000000a1/w1_slave"); got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := readText(t, files, "28-0000000000a1/temperature"); got != "23125\n" {
		t.Errorf("temperature %q", got)
	}
	if got := readText(t, files, "w1_bus_master1/w1_master_slaves"); got != "28-0000000000a1\n28-0000000000b2\n" {
		t.Errorf("slaves %q", got)
	}
	y.SetFault(TemperatureCRC, true)
	got := readText(t, files, "28-0000000000a1/w1_slave")
	if !strings.Contains(got, "NO\n72 01 4b 46 7f ff 0e 10 57 t=") {
		t.Errorf("damaged: %q", got)
	}
	if _, err := fs.ReadFile(files, "28-0000000000a1/temperature"); err == nil {
		t.Error("a damaged temperature can be read")
	}
	y.SetFault(TemperatureCRC, false)
	y.SetFault(TemperaturePowerOn, true)
	want = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
	if got := readText(t, files, "28-0000000000a1/w1_slave"); got != want {
		t.Errorf("power-on: %q", got)
	}
}

// TestUnpluggedSensor: first the bus reads all ones (their CRC is c9), then the
// kernel drops the sensor; the air's sensor stays.
func TestUnpluggedSensor(t *testing.T) {
	b, y := fitted(t)
	files := b.OneWire()
	y.Unplug()
	if got := readText(t, files, "28-0000000000a1/w1_slave"); !strings.HasPrefix(got, strings.Repeat("ff ", 9)+": crc=c9 NO\n") {
		t.Errorf("%q", got)
	}
	b.Advance(forgetAfter)
	if _, err := fs.Stat(files, "28-0000000000a1"); err == nil {
		t.Error("still known")
	}
	if got := readText(t, files, "w1_bus_master1/w1_master_slaves"); got != "28-0000000000b2\n" {
		t.Errorf("slaves %q", got)
	}
	y.Connect()
	if got := readText(t, files, "28-0000000000a1/temperature"); got == "" {
		t.Error("not back")
	}
}

// TestSilentWire: for a damaged and for a missing answer w1_therm of Linux 6.1 shows
// nothing, after seconds, in both files (seen on the emulated board). Good answers
// stay the same.
func TestSilentWire(t *testing.T) {
	b, y := fitted(t)
	blocked := time.Duration(0)
	b.SilentWire(func(d time.Duration) { blocked += d; b.Advance(d) })
	files := b.OneWire()
	good := readText(t, files, "28-0000000000a1/w1_slave")
	if !strings.Contains(good, "YES") || blocked != 0 {
		t.Errorf("good: %q after %v", good, blocked)
	}
	for _, kind := range []FaultKind{TemperatureCRC, TemperatureUnplugged} {
		y.SetFault(kind, true)
		for _, file := range []string{"w1_slave", "temperature"} {
			blocked = 0
			if got := readText(t, files, "28-0000000000a1/"+file); got != "" || blocked < time.Second {
				t.Errorf("%s, %s: %q after %v", kind, file, got, blocked)
			}
		}
		y.SetFault(kind, false)
		if got := readText(t, files, "28-0000000000a1/w1_slave"); !strings.Contains(got, "YES") {
			t.Errorf("%s repaired: %q", kind, got)
		}
	}
	if got := readText(t, files, "28-0000000000b2/temperature"); got == "" {
		t.Error("the other sensor is silent, too")
	}
}
