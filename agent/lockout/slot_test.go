package lockout

import (
	"encoding/binary"
	"hash/crc32"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzSlot gives each body a right checksum, so that what it says is read: it is
// refused, or is exactly what writing it again makes.
func FuzzSlot(f *testing.F) {
	good, err := encode(&State{Mark: 3, Bays: map[string]Bay{"bay-1": {Held: true, Latches: []string{"runaway"}}, "bay-2": {Visit: true}}}, 9)
	require.NoError(f, err)
	f.Add(good[8:16], good[16:len(good)-sumBytes])
	f.Fuzz(func(t *testing.T, head, rest []byte) {
		if len(head) != 8 || len(rest) < 16 || len(rest) > slotBytes {
			return
		}
		raw := append(append([]byte(magic), head...), rest...)
		binary.BigEndian.PutUint32(raw[12:], uint32(len(raw)-headBytes))
		raw = binary.BigEndian.AppendUint32(raw, crc32.Checksum(raw, crc32.MakeTable(crc32.Castagnoli)))
		s, generation, err := decode(raw)
		if err != nil {
			return
		}
		again, err := encode(&s, generation)
		require.NoError(t, err)
		require.Equal(t, raw, again)
	})
}
