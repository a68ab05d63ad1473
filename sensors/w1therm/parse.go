package w1therm

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"periph.io/x/conn/v3/physic"
)

// The errors of an answer. Every error of Read and Parse wraps one of these or the
// context's error.
var (
	// ErrBadCRC: the answer was damaged on the wire.
	ErrBadCRC = errors.New("bad CRC")
	// ErrPowerOn: exactly 85 °C, the value before the first conversion: the
	// sensor lost its supply. A real 85.000 °C is refused too.
	ErrPowerOn = errors.New("power-on value of 85 °C, not a measurement")
	// ErrUnplugged: no file, an empty one, or an undriven line.
	ErrUnplugged = errors.New("sensor does not answer")
	// ErrShorted: the data line is held low.
	ErrShorted = errors.New("data line is held low")
	// ErrImplausible: outside MinC to MaxC.
	ErrImplausible = errors.New("outside the sensor's range")
	// ErrGarbled: not in the kernel's format.
	ErrGarbled = errors.New("not understood")
)

// The sensor's range (data sheet 19-7487, "Features"), °C.
const (
	MinC = -55
	MaxC = 125
)

const powerOnMilli = 85000

// scratchpadBytes is the length of a scratchpad with its CRC.
const scratchpadBytes = 9

// Parse parses the text of a w1_slave file:
//
//	72 01 4b 46 7f ff 0e 10 57 : crc=57 YES
//	72 01 4b 46 7f ff 0e 10 57 t=23125
func Parse(text []byte) (physic.Temperature, error) {
	first, second, _ := bytes.Cut(bytes.TrimSpace(text), []byte("\n"))
	if len(first) == 0 {
		return 0, fmt.Errorf("%w: the file is empty", ErrUnplugged)
	}
	raw, verdict, ok := bytes.Cut(first, []byte(" : crc="))
	bytesShown, same := uniform(raw)
	if !ok || bytesShown != scratchpadBytes {
		return 0, garbled(text)
	}
	switch {
	case same == "00":
		return 0, fmt.Errorf("%w: all bits of the answer are 0", ErrShorted)
	case same == "ff":
		return 0, fmt.Errorf("%w: all bits of the answer are 1", ErrUnplugged)
	case bytes.HasSuffix(verdict, []byte(" NO")):
		return 0, fmt.Errorf("%w: %q", ErrBadCRC, first)
	case !bytes.HasSuffix(verdict, []byte(" YES")):
		return 0, garbled(text)
	}
	_, milli, ok := bytes.Cut(second, []byte(" t="))
	if !ok {
		return 0, garbled(text)
	}
	return ParseMilli(milli)
}

// uniform counts the bytes of a scratchpad as the kernel prints it. If all are the
// same byte it also returns that byte, otherwise "".
func uniform(raw []byte) (count int, same string) {
	for b := range bytes.FieldsSeq(raw) {
		if len(b) != 2 {
			return 0, ""
		}
		if count++; count == 1 {
			same = string(b)
		} else if same != string(b) {
			same = ""
		}
	}
	return count, same
}

// ParseMilli parses the text of a temperature file: thousandths of a degree
// Celsius.
func ParseMilli(text []byte) (physic.Temperature, error) {
	trimmed := strings.TrimSpace(string(text))
	if trimmed == "" {
		return 0, fmt.Errorf("%w: the file is empty", ErrUnplugged)
	}
	milli, err := strconv.ParseInt(trimmed, 10, 32)
	switch {
	case errors.Is(err, strconv.ErrRange):
		return 0, fmt.Errorf("%w: %s thousandths of a degree", ErrImplausible, trimmed)
	case err != nil:
		return 0, garbled(text)
	case milli == powerOnMilli:
		return 0, ErrPowerOn
	case milli < MinC*1000 || milli > MaxC*1000:
		return 0, fmt.Errorf("%w: %d thousandths of a degree, must be %d to %d °C", ErrImplausible, milli, MinC, MaxC)
	}
	return physic.ZeroCelsius + physic.Temperature(milli)*physic.MilliKelvin, nil
}

// garbled returns an error that quotes the beginning of a text that could not be
// parsed.
func garbled(text []byte) error {
	return fmt.Errorf("%w: %.80q", ErrGarbled, text)
}
