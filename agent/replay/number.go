package replay

import (
	"bytes"
	"strconv"
)

// powers are the powers of ten that a float64 holds exactly.
var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// mostDigits always fit into the 53 bits of a float64.
const mostDigits = 15

// parse is strconv.ParseFloat for a field, which it trims. Plain decimals of up
// to fifteen characters, which is what loggers write, are read here: the digits as a
// whole number and the power of ten are both exact, so that their quotient is
// the nearest float64 (Clinger, How to Read Floating Point Numbers Accurately,
// 1990). Everything else goes to strconv. ok is false for an empty field.
func parse(field []byte) (v float64, ok bool, err error) {
	if v, ok := decimal(field); ok {
		return v, true, nil
	}
	text := bytes.TrimSpace(field)
	if len(text) == 0 {
		return 0, false, nil
	}
	v, err = strconv.ParseFloat(string(text), 64)
	return v, true, err
}

// decimal reads a field that is one plain decimal and nothing else.
func decimal(field []byte) (v float64, ok bool) {
	v, n := leading(field)
	return v, n > 0 && n == len(field)
}

// leading reads the plain decimal that a text begins with and gives its length, 0
// for none.
func leading(s []byte) (v float64, n int) {
	first := 0
	if len(s) > 0 && s[0] == '-' {
		first = 1
	}
	whole, point, i := int64(0), 0, first // point is where it stands; never first
	for ; i < len(s); i++ {
		if d := s[i] - '0'; d <= 9 {
			whole = whole*10 + int64(d)
			continue
		}
		if s[i] != '.' || point > 0 || i == first {
			break
		}
		point = i
	}
	if i == first || i-first > mostDigits {
		return 0, 0
	}
	v = float64(whole)
	if point > 0 {
		v /= powers[i-1-point]
	}
	if first > 0 {
		v = -v
	}
	return v, i
}
