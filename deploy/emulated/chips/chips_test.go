package chips_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/deploy/emulated/chips"
)

// The CRC of the number 02 1C B8 01 00 00 00 is A2: the worked example of the
// maker's application note 27, "Understanding and Using Cyclic Redundancy
// Checks with 1-Wire Products", section "Example" (from memory). A DS18B20 after
// power-on reads 50 05 4B 46 7F FF 0C 10 and the CRC 1C (from memory; its data
// sheet's "Memory" gives 0550h for 85 °C).
func TestCRC8(t *testing.T) {
	require.Equal(t, byte(0xA2), chips.CRC8([]byte{0x02, 0x1C, 0xB8, 0x01, 0, 0, 0}))
	require.Equal(t, byte(0x1C), chips.CRC8([]byte{0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10}))
}

// search is the ROM search of the maker's application note 187, using the bridge's
// triplet command, as the kernel searches the bus.
func search(t *testing.T, b *chips.Bridge) [][8]byte {
	t.Helper()
	var found [][8]byte
	var last [8]byte
	for branch := -1; ; {
		tx(t, b, []byte{0xB4}, nil)
		tx(t, b, []byte{0xA5, 0xF0}, nil)
		var rom [8]byte
		zero := -1
		for n := range 64 {
			wish := n == branch || n < branch && last[n/8]>>(n%8)&1 != 0
			arg := byte(0)
			if wish {
				arg = 0x80
			}
			var status [1]byte
			tx(t, b, []byte{0x78, arg}, nil)
			tx(t, b, nil, status[:])
			bit, complement, way := status[0]&0x20 != 0, status[0]&0x40 != 0, status[0]&0x80 != 0
			if bit && complement {
				return found
			}
			if !bit && !complement && !way {
				zero = n
			}
			if way {
				rom[n/8] |= 1 << (n % 8)
			}
		}
		found, last, branch = append(found, rom), rom, zero
		if zero < 0 {
			return found
		}
	}
}

func tx(t *testing.T, b *chips.Bridge, w, r []byte) {
	t.Helper()
	require.NoError(t, b.Tx(chips.BridgeAddr, w, r))
}

func sensor(t *testing.T, number string, pad [9]byte, plugged *bool) *chips.Sensor {
	t.Helper()
	s, err := chips.NewSensor(number, func() ([9]byte, bool) { return pad, *plugged })
	require.NoError(t, err)
	return s
}

// TestSearchFindsAll: the search finds two sensors whose numbers differ in a late
// bit, and does not find an unplugged one.
func TestSearchFindsAll(t *testing.T) {
	there, gone := true, false
	b := &chips.Bridge{Wire: chips.NewWire(
		sensor(t, "28-0316a2795bff", [9]byte{}, &there), sensor(t, "28-0416a2795bff", [9]byte{}, &there),
		sensor(t, "28-00000000000a", [9]byte{}, &gone))}
	found := search(t, b)
	require.Len(t, found, 2)
	for _, rom := range found {
		require.Equal(t, byte(0x28), rom[0])
		require.Equal(t, []byte{0xFF, 0x5B, 0x79, 0xA2, 0x16}, rom[1:6], "lowest byte first")
		require.Equal(t, chips.CRC8(rom[:7]), rom[7])
	}
	there = false
	require.Empty(t, search(t, b))
}

// TestReadOne: a read by number returns that sensor's memory and no other's.
func TestReadOne(t *testing.T) {
	there := true
	want := [9]byte{1, 2, 3, 4, 5, 6, 7, 8, 9}
	b := &chips.Bridge{Wire: chips.NewWire(
		sensor(t, "28-0416a2795bff", [9]byte{}, &there), sensor(t, "28-0316a2795bff", want, &there))}
	number := []byte{0x28, 0xFF, 0x5B, 0x79, 0xA2, 0x16, 0x03}
	tx(t, b, []byte{0xB4}, nil)
	for _, command := range append(append([]byte{0x55}, number...), chips.CRC8(number), 0xBE) {
		tx(t, b, []byte{0xA5, command}, nil)
	}
	for _, w := range want {
		var got [1]byte
		tx(t, b, []byte{0x96}, nil)
		tx(t, b, []byte{0xE1, 0xE1}, nil)
		tx(t, b, nil, got[:])
		require.Equal(t, w, got[0])
	}
	require.Error(t, b.Tx(0x19, []byte{0xF0}, nil), "another address")
	require.Error(t, b.Tx(chips.BridgeAddr, []byte{0xC3, 0xF0}, nil), "the one-channel chip has no channel to select")
}

func TestNumbers(t *testing.T) {
	for _, bad := range []string{"", "28", "28-", "28-0316a2795b", "zz-0316a2795bff", "28-0316a2795bfg", "28-0316a2795bff00"} {
		_, err := chips.NewSensor(bad, nil)
		require.Error(t, err, bad)
	}
}
