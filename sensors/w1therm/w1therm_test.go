package w1therm

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

// celsius avoids Temperature.Celsius, so that the test has its own arithmetic.
func celsius(t physic.Temperature) float64 { return float64(t)/1e9 - 273.15 }

// TestParse: the example of the kernel's documentation, the temperature table of the
// DS18B20 data sheet (19-7487, table 1) as scratchpads, and texts seen on real buses.
func TestParse(t *testing.T) {
	for _, tc := range []struct {
		name, text string
		wantC      float64
		want       error
	}{
		{"room", "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n", 23.125, nil},
		{"published: data sheet, table 1, +125 °C", "d0 07 4b 46 7f ff 00 10 b9 : crc=b9 YES\nd0 07 4b 46 7f ff 00 10 b9 t=125000\n", 125, nil},
		{"published: data sheet, table 1, +10.125 °C", "a2 00 4b 46 7f ff 0e 10 e5 : crc=e5 YES\na2 00 4b 46 7f ff 0e 10 e5 t=10125\n", 10.125, nil},
		{"published: data sheet, table 1, -10.125 °C", "5e ff 4b 46 7f ff 02 10 b6 : crc=b6 YES\n5e ff 4b 46 7f ff 02 10 b6 t=-10125\n", -10.125, nil},
		{"published: data sheet, table 1, -55 °C", "90 fc 4b 46 7f ff 10 10 ee : crc=ee YES\n90 fc 4b 46 7f ff 10 10 ee t=-55000\n", -55, nil},
		{"zero is a value", "00 00 4b 46 7f ff 10 10 69 : crc=69 YES\n00 00 4b 46 7f ff 10 10 69 t=0\n", 0, nil},
		{"published: data sheet, figure 2: power-on", "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n", 0, ErrPowerOn},
		{"bad CRC, old value shown", "73 01 4b 46 7f ff 0d 10 41 : crc=57 NO\n72 01 4b 46 7f ff 0e 10 57 t=23125\n", 0, ErrBadCRC},
		{"line held low", "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n", 0, ErrShorted},
		{"line undriven", "ff ff ff ff ff ff ff ff ff : crc=c9 NO\nff ff ff ff ff ff ff ff ff t=-62\n", 0, ErrUnplugged}, //nolint:dupword // a scratchpad
		{"large negative", "80 f8 4b 46 7f ff 10 10 4e : crc=4e YES\n80 f8 4b 46 7f ff 10 10 4e t=-120000\n", 0, ErrImplausible},
		{"just too cold", "90 fc 4b 46 7f ff 10 10 ee : crc=ee YES\n90 fc 4b 46 7f ff 10 10 ee t=-55001\n", 0, ErrImplausible},
		{"beyond any number", "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 t=-99999999999\n", 0, ErrImplausible},
		{"empty", "", 0, ErrUnplugged},
		{"blank", " \n\n", 0, ErrUnplugged},
		{"no second line", "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n", 0, ErrGarbled},
		{"cut off", "72 01 4b 46 7f ff 0e 10 57 : crc=57 YE", 0, ErrGarbled},
		{"short scratchpad", "72 01 : crc=57 YES\n72 01 t=23125\n", 0, ErrGarbled},
		{"another file", "23125\n", 0, ErrGarbled},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := Parse([]byte(tc.text))
			if !errors.Is(err, tc.want) {
				t.Fatalf("got %v, %v, want %v", got, err, tc.want)
			}
			if err == nil && math.Abs(celsius(got)-tc.wantC) > 1e-6 {
				t.Errorf("got %v °C, want %v", celsius(got), tc.wantC)
			}
		})
	}
}

func TestParseMilli(t *testing.T) {
	for _, tc := range []struct {
		text  string
		wantC float64
		want  error
	}{
		{"23125\n", 23.125, nil},
		{"-55000", -55, nil},
		{"125000", 125, nil},
		{"84999", 84.999, nil},
		{"85000\n", 0, ErrPowerOn},
		{"85001", 85.001, nil},
		{"125001", 0, ErrImplausible},
		{"-55001", 0, ErrImplausible},
		{"-127000", 0, ErrImplausible},
		{"", 0, ErrUnplugged},
		{"\n", 0, ErrUnplugged},
		{"23.1", 0, ErrGarbled},
		{"warm", 0, ErrGarbled},
	} {
		got, err := ParseMilli([]byte(tc.text))
		if !errors.Is(err, tc.want) || err == nil && math.Abs(celsius(got)-tc.wantC) > 1e-6 {
			t.Errorf("%q: got %v °C, %v, want %v, %v", tc.text, celsius(got), err, tc.wantC, tc.want)
		}
	}
}

const (
	goodID  = "28-0316a2795bff"
	otherID = "10-000802b4ba0f"
	good    = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
)

func TestRead(t *testing.T) {
	for _, tc := range []struct {
		name string
		fs   fstest.MapFS
		want error
	}{
		{"both files: the one with the CRC", fstest.MapFS{goodID + "/w1_slave": {Data: []byte(good)}, goodID + "/temperature": {Data: []byte("1")}}, nil},
		{"only temperature", fstest.MapFS{goodID + "/temperature": {Data: []byte("23125\n")}}, nil},
		{"empty w1_slave hides nothing", fstest.MapFS{goodID + "/w1_slave": {}, goodID + "/temperature": {Data: []byte("23125\n")}}, ErrUnplugged},
		{"empty temperature", fstest.MapFS{goodID + "/temperature": {}}, ErrUnplugged},
		{"another sensor", fstest.MapFS{otherID + "/w1_slave": {Data: []byte(good)}}, ErrUnplugged},
		{"a folder where a file should be", fstest.MapFS{goodID + "/w1_slave/x": {}}, ErrUnplugged},
	} {
		t.Run(tc.name, func(t *testing.T) {
			d, err := New(tc.fs, goodID)
			if err != nil {
				t.Fatal(err)
			}
			got, err := d.Read(t.Context())
			if !errors.Is(err, tc.want) {
				t.Fatalf("got %v, want %v", err, tc.want)
			}
			if err == nil && math.Abs(celsius(got)-23.125) > 1e-6 {
				t.Errorf("got %v", got)
			}
			if err != nil && !strings.Contains(err.Error(), goodID) {
				t.Errorf("%v does not name the sensor", err)
			}
		})
	}
}

func TestReadKeepsCause(t *testing.T) {
	d, err := New(fstest.MapFS{}, goodID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.Read(t.Context()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v does not wrap its cause", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := d.Read(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want canceled", err)
	}
	if err := d.Halt(); err != nil {
		t.Error(err)
	}
}

func TestNewRefuses(t *testing.T) {
	for _, id := range []string{
		"", "28", "28-", "28-0316A2795BFF", "28-0316a2795bf", "28-0316a2795bff0", "../28-0316a2795bff",
		"28-0316a2795/ff", "26-0316a2795bff", "w1_bus_master1",
	} {
		if _, err := New(fstest.MapFS{}, id); err == nil {
			t.Errorf("%q: no error", id)
		}
	}
	if _, err := New(nil, goodID); err == nil {
		t.Error("no folder: no error")
	}
}

func TestList(t *testing.T) {
	root := fstest.MapFS{
		goodID + "/w1_slave":  {},
		otherID + "/w1_slave": {},
		"w1_bus_master1/name": {},
		"26-000001c8a1b2/id":  {}, // a battery monitor on the same bus
	}
	got, err := List(root)
	if want := []string{otherID, goodID}; err != nil || !slices.Equal(got, want) {
		t.Errorf("got %q, %v, want %q", got, err, want)
	}
	if _, err := List(broken{}); !errors.Is(err, fs.ErrPermission) {
		t.Errorf("got %v, want the cause", err)
	}
}

type broken struct{}

func (broken) Open(string) (fs.File, error) { return nil, fs.ErrPermission }

// TestDamage: whatever single character is damaged or lost, Parse returns the value
// that was sent, or an error. The value's own digits are not changed: they come from
// the kernel, not from the wire.
func TestDamage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := []byte(good)
		end := strings.Index(good, "t=") + 1
		if cut := rapid.IntRange(0, len(good)-1).Draw(t, "cut"); cut < end {
			text = text[:cut]
		} else {
			text[rapid.IntRange(0, end).Draw(t, "at")] = rapid.Byte().Draw(t, "damage")
		}
		if got, err := Parse(text); err == nil && math.Abs(celsius(got)-23.125) > 1e-6 {
			t.Fatalf("%q reads as %v", text, got)
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte("00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 t=0"))
	f.Add([]byte("23125\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, parse := range []func([]byte) (physic.Temperature, error){Parse, ParseMilli} {
			v, err := parse(text)
			if c := celsius(v); err == nil && (c < MinC-1e-6 || c > MaxC+1e-6 || c == 85) {
				t.Fatalf("%q reads as %v °C", text, c)
			}
		}
	})
}
