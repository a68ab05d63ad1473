package words

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/order"
)

// TestConfirmedInWords: the record keeps keys, each reader gets the words, and what
// a person or an older program wrote stays as it is.
func TestConfirmedInWords(t *testing.T) {
	for k := order.None + 1; k < order.NumKinds; k++ {
		if note := k.Row().Confirmed(); note != "" {
			for _, v := range voices() {
				whole(t, v.Confirmed(note), k)
				require.NotContains(t, v.Confirmed(note), order.ConfirmedBefore)
			}
		}
	}
	note := order.VisitClose.Row().Confirmed()
	require.Equal(t, "Confirmed: vent caps seated, vent holes clear; spills neutralised and rinsed, waste in its own container; "+
		"hands and tools out, battery cover open for the charge.", New("en", "si").Confirmed(note))
	require.Contains(t, New("es", "si").Confirmed(note), "tapa de la batería abierta para la carga")
	require.Equal(t, "Confirmed: machine parked, brake on, key out or isolator off; charger off at its own switch, no plug pulled before; "+
		"battery not gassing, not alone; the other cautions at 14:05, earlier in the round.", New("en", "si").Confirmed(order.VisitOpen.Row().ConfirmedRound("14:05")))
	for _, written := range []string{"", "Confirmed: gloves.", "confirmed: ", "confirmed: colour", "confirmed by phone", "confirmed: round", "confirmed: park@14:05"} {
		require.Equal(t, written, New("es", "si").Confirmed(written))
	}
}
