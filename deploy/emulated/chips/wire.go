package chips

import (
	"fmt"
	"strconv"
	"strings"
)

// Wire is a 1-wire line with any number of sensors. One sensor pulls it low for
// all. It is for one master.
type Wire struct{ sensors []*Sensor }

// NewWire makes a line with sensors.
func NewWire(sensors ...*Sensor) *Wire { return &Wire{sensors: sensors} }

// Reset resets the line and reports whether any sensor answers.
func (w *Wire) Reset() bool {
	present := false
	for _, s := range w.sensors {
		present = s.reset() || present
	}
	return present
}

// Read is a time slot in which the sensors may answer.
func (w *Wire) Read() bool {
	level := true
	for _, s := range w.sensors {
		level = s.read() && level
	}
	return level
}

// Write is a time slot in which the master writes a bit.
func (w *Wire) Write(bit bool) {
	for _, s := range w.sensors {
		s.write(bit)
	}
}

// Slot is a 1 written by the master, in which a sensor with data to send may
// answer.
func (w *Wire) Slot() bool {
	level := true
	for _, s := range w.sensors {
		if s.talks() {
			level = s.read() && level
		} else {
			s.write(true)
		}
	}
	return level
}

// Sensor is one DS18B20.
type Sensor struct {
	// Scratchpad is called at each conversion and each read; plugged is false
	// for a sensor that is not on the line.
	Scratchpad func() (pad [9]byte, plugged bool)

	rom     [8]byte
	state   state
	in      byte // bits of the byte being written
	bits    int
	step    int // of the search, or of the number being matched
	out     []byte
	outBits int
}

// state is what a sensor expects next.
type state uint8

const (
	off state = iota // not addressed: silent until the next reset
	romCommand
	searching
	matching
	function
	talking
)

// NewSensor makes a sensor from its number as the kernel writes it, such as
// "28-0316a2795bff": the family, then the serial number, highest byte first.
func NewSensor(number string, scratchpad func() (pad [9]byte, plugged bool)) (*Sensor, error) {
	family, serial, _ := strings.Cut(number, "-")
	f, err1 := strconv.ParseUint(family, 16, 8)
	n, err2 := strconv.ParseUint(serial, 16, 48)
	if err1 != nil || err2 != nil || len(serial) != 12 {
		return nil, fmt.Errorf("%q is not a 1-wire number such as 28-0316a2795bff", number)
	}
	s := &Sensor{Scratchpad: scratchpad}
	s.rom[0] = byte(f)
	for i := 1; i < 7; i++ {
		s.rom[i] = byte(n)
		n >>= 8
	}
	s.rom[7] = CRC8(s.rom[:7])
	return s, nil
}

// CRC8 returns the 1-wire CRC: x^8 + x^5 + x^4 + 1, least significant bit first.
func CRC8(data []byte) byte {
	crc := byte(0)
	for _, b := range data {
		crc ^= b
		for range 8 {
			low := crc & 1
			crc >>= 1
			if low != 0 {
				crc ^= 0x8C
			}
		}
	}
	return crc
}

func (s *Sensor) reset() bool {
	s.state, s.in, s.bits, s.out, s.outBits = romCommand, 0, 0, nil, 0
	_, plugged := s.Scratchpad()
	if !plugged {
		s.state = off
	}
	return plugged
}

func (s *Sensor) talks() bool { return s.state == searching || s.state == talking }

func bitOf(b []byte, n int) bool { return b[n/8]>>(n%8)&1 != 0 }

func (s *Sensor) read() bool {
	switch {
	case s.state == searching:
		bit := bitOf(s.rom[:], s.step/2) != (s.step%2 == 1)
		s.step++
		return bit
	case s.state == talking && s.outBits < len(s.out)*8:
		bit := bitOf(s.out, s.outBits)
		s.outBits++
		return bit
	}
	return true // an idle line; also: conversion done, own supply
}

func (s *Sensor) write(bit bool) {
	switch s.state {
	case searching:
		s.follow(bit)
		return
	case off, talking:
		return
	case romCommand, matching, function:
	}
	if bit {
		s.in |= 1 << s.bits
	}
	if s.bits++; s.bits < 8 {
		return
	}
	b := s.in
	s.in, s.bits = 0, 0
	s.take(b)
}

// follow stays in the search while the master follows this sensor's number.
func (s *Sensor) follow(bit bool) {
	n := s.step/2 - 1
	switch {
	case n < 0 || bit != bitOf(s.rom[:], n):
		s.state = off
	case n == 63:
		s.state = function
	}
}

// take handles one whole byte from the master.
func (s *Sensor) take(b byte) {
	switch s.state {
	case romCommand:
		s.address(b)
	case matching:
		if b != s.rom[s.step] {
			s.state = off
		} else if s.step++; s.step == len(s.rom) {
			s.state = function
		}
	case function:
		s.do(b)
	case off, searching, talking:
	}
}

func (s *Sensor) address(command byte) {
	switch command {
	case 0xF0: // search ROM
		s.state, s.step = searching, 0
	case 0x55: // match ROM
		s.state, s.step = matching, 0
	case 0xCC: // skip ROM
		s.state = function
	case 0x33: // read ROM
		s.say(s.rom[:])
	default: // alarm search and others: silent
		s.state = off
	}
}

func (s *Sensor) do(command byte) {
	switch command {
	case 0xBE: // read scratchpad
		pad, _ := s.Scratchpad()
		s.say(pad[:])
	case 0x4E: // alarm and configuration bytes, ignored
		s.state = off
	default: // convert, recall, power supply: done at once, own supply
		s.say(nil)
	}
}

func (s *Sensor) say(b []byte) { s.state, s.out, s.outBits = talking, b, 0 }
