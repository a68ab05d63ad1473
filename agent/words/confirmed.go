package words

import (
	"strings"

	"bayward/agent/order"
)

// Confirmed words the note of an order whose points were confirmed. Any other note,
// and that of an older program, stays as written.
func (v Voice) Confirmed(note string) string {
	keys, ok := strings.CutPrefix(note, order.ConfirmedBefore)
	if !ok {
		return note
	}
	points := strings.Fields(keys)
	for i, key := range points {
		key, at, round := strings.Cut(key, "@")
		switch {
		case !v.has("confirm." + key + ".record"), round != (key == order.RoundPoint):
			return note
		case round:
			points[i] = v.Say("confirm."+order.RoundPoint+".record", at)
		default:
			points[i] = v.Say("confirm." + key + ".record")
		}
	}
	if len(points) == 0 {
		return note
	}
	return v.Say("confirmed", strings.Join(points, "; "))
}
