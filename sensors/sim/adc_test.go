package sim

import (
	"bytes"
	"context"
	"errors"
	"testing"
	"time"
)

// The register-level behaviour follows the ADS1115 data sheet SBAS444E, sections
// 8.3 (OS bit, data rates), 8.5 (pointer, byte order) and 8.6 (reset values).

func TestResetValues(t *testing.T) {
	b, _ := fitted(t)
	u := mustBus(t, b)
	for pointer, want := range map[byte][]byte{0: {0, 0}, 1: {0x85, 0x83}, 2: {0x80, 0}, 3: {0x7f, 0xff}} {
		r := make([]byte, 2)
		if err := u.Tx(0x48, []byte{pointer}, r); err != nil || !bytes.Equal(r, want) {
			t.Errorf("register %d: % x, %v, want % x", pointer, r, err, want)
		}
	}
}

func TestThresholdsAreKept(t *testing.T) {
	b, _ := fitted(t)
	u := mustBus(t, b)
	r := make([]byte, 2)
	for _, w := range [][]byte{{2, 0x12, 0x34}, {3, 0xab, 0xcd}} {
		if err := u.Tx(0x48, w, nil); err != nil {
			t.Fatal(err)
		}
		if err := u.Tx(0x48, nil, r); err != nil || !bytes.Equal(r, w[1:]) { // the pointer stays
			t.Errorf("register %d: % x, %v", w[0], r, err)
		}
	}
	if err := u.Tx(0, []byte{6}, nil); err != nil { // general call reset
		t.Fatal(err)
	}
	if err := u.Tx(0x48, []byte{2}, r); err != nil || !bytes.Equal(r, []byte{0x80, 0}) {
		t.Errorf("after the general call: % x, %v", r, err)
	}
}

// TestBusyForOnePeriod: a conversion at 8 samples a second takes 125 ms ± 10 %;
// until then OS reads 0 and the conversion register holds the previous result.
func TestBusyForOnePeriod(t *testing.T) {
	b, _ := fitted(t)
	u := mustBus(t, b)
	if err := u.Tx(0x48, []byte{1, 0xc1, 0x03}, nil); err != nil { // AIN0, ±6.144 V, single, 8 a second
		t.Fatal(err)
	}
	r := make([]byte, 2)
	read := func(pointer byte) uint16 {
		if err := u.Tx(0x48, []byte{pointer}, r); err != nil {
			t.Fatal(err)
		}
		return uint16(r[0])<<8 | uint16(r[1])
	}
	wait := func(d time.Duration) {
		if err := b.Wait(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	wait(110 * time.Millisecond)
	if got := read(1); got != 0x4103 {
		t.Errorf("while converting: 0x%04x", got)
	}
	if got := read(0); got != 0 {
		t.Errorf("result before its time: 0x%04x", got)
	}
	wait(28 * time.Millisecond)
	if got := read(1); got != 0xc103 {
		t.Errorf("after the conversion: 0x%04x", got)
	}
	if got := read(0); got == 0 {
		t.Error("no result")
	}
	if b.Now() != 0 {
		t.Errorf("the physics moved to %v", b.Now())
	}
}

// TestContinuousGivesTheOldChannelFirst: data sheet 8.4.2.2: in continuous mode
// a change takes effect with the next conversion.
func TestContinuousGivesTheOldChannelFirst(t *testing.T) {
	b, _ := fitted(t)
	u := mustBus(t, b)
	read := func() int16 {
		r := make([]byte, 2)
		if err := u.Tx(0x48, []byte{0}, r); err != nil {
			t.Fatal(err)
		}
		return int16(uint16(r[0])<<8 | uint16(r[1]))
	}
	set := func(hi byte) {
		if err := u.Tx(0x48, []byte{1, hi, 0x83}, nil); err != nil {
			t.Fatal(err)
		}
	}
	set(0x40) // AIN0, ±6.144 V, continuous, 128 a second
	if err := b.Wait(t.Context(), 9*time.Millisecond); err != nil {
		t.Fatal(err)
	}
	voltage := read()
	set(0x60) // AIN2: the shunt, near 0
	if first := read(); first < voltage-20 || first > voltage+20 {
		t.Errorf("first result %d, not of the old channel (%d)", first, voltage)
	}
	if err := b.Wait(t.Context(), 40*time.Millisecond); err != nil {
		t.Fatal(err)
	}
	if later := read(); later < -20 || later > 20 {
		t.Errorf("later result %d, not of the new channel", later)
	}
}

// TestOverRange: beyond full scale the code is 0x7fff.
func TestOverRange(t *testing.T) {
	b, _ := fitted(t)
	u := mustBus(t, b)
	if err := u.Tx(0x48, []byte{1, 0xcb, 0xe3}, nil); err != nil { // AIN0, ±0.256 V
		t.Fatal(err)
	}
	if err := b.Wait(t.Context(), 2*time.Millisecond); err != nil {
		t.Fatal(err)
	}
	r := make([]byte, 2)
	if err := u.Tx(0x48, []byte{0}, r); err != nil || !bytes.Equal(r, []byte{0x7f, 0xff}) {
		t.Errorf("% x, %v", r, err)
	}
}

// TestNoAnswer: Linux reports a missing acknowledge as EREMOTEIO and a bus that stays
// low as ETIMEDOUT; the Pi's bus driver returns only their texts.
func TestNoAnswer(t *testing.T) {
	b, y := fitted(t)
	u := mustBus(t, b)
	r := make([]byte, 2)
	if err := u.Tx(0x4b, []byte{1}, r); err == nil || err.Error() != "sysfs-i2c: remote I/O error" {
		t.Errorf("absent address: %v", err)
	}
	y.SetFault(ADCAbsent, true)
	if err := u.Tx(0x48, []byte{1}, r); err == nil || err.Error() != "sysfs-i2c: remote I/O error" {
		t.Errorf("absent converter: %v", err)
	}
	y.SetFault(BusStuck, true)
	if err := u.Tx(0x48, []byte{1}, r); err == nil || err.Error() != "sysfs-i2c: connection timed out" {
		t.Errorf("stuck bus: %v", err)
	}
	y.SetFault(ADCAbsent, false)
	y.SetFault(BusStuck, false)
	if err := u.Tx(0x48, []byte{1}, r); err != nil {
		t.Errorf("repaired: %v", err)
	}
	if err := u.Tx(0x80, []byte{1}, r); err == nil {
		t.Error("address 0x80 accepted")
	}
}

func TestWaitEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := NewBench().Wait(ctx, time.Hour); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

// FuzzBus: no bytes on the bus crash a converter, and it always answers.
func FuzzBus(f *testing.F) {
	f.Add(uint16(0x48), []byte{1, 0xc1, 0x83, 0, 0, 0}, uint8(2))
	f.Add(uint16(0), []byte{6}, uint8(0))
	f.Add(uint16(0x49), []byte{}, uint8(200))
	f.Add(uint16(0x48), []byte{3, 1}, uint8(1))
	f.Fuzz(func(t *testing.T, addr uint16, w []byte, n uint8) {
		b, _ := fitted(t)
		u := mustBus(t, b)
		r := make([]byte, n)
		for len(w) > 0 {
			part := min(1+int(w[0])%5, len(w))
			_ = u.Tx(addr, w[:part], r)
			w = w[part:]
			b.Advance(time.Duration(n) * time.Millisecond)
		}
		if _, err := convert(b, u, 0x49, 4); err != nil && addr != 0x49 {
			t.Errorf("after bytes to 0x%02x the other converter fails: %v", addr, err)
		}
	})
}
