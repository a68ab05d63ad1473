package pack

// hydrogenM3PerAh is the hydrogen of one ampere-hour and cell at 25 °C.
const hydrogenM3PerAh = 24465.4e-6 / (2 * 96485.33212) * 3600

const (
	roomM3       = 20.0 // of air for each bay; invented
	draughtPerH  = 0.2  // air changes without the fan; invented
	fanPerCellAh = 0.055 * 6 / 100
)

// Room is the air above a pack, well mixed.
type Room struct {
	fanM3PerH float64
	share     float64
}

// NewRoom makes a room whose fan is sized by EN 62485-3: 0.055 m³/h for each
// cell and ampere of gassing, with 6 A for each 100 Ah.
func NewRoom(cells int, capacityAh float64) *Room {
	return &Room{fanM3PerH: fanPerCellAh * float64(cells) * capacityAh}
}

// Step adds gas and exchanges air for dt seconds. cellA is the sum of the gassing
// currents of all cells.
func (r *Room) Step(dtS, cellA float64, fan bool) {
	flow := draughtPerH * roomM3
	if fan {
		flow += r.fanM3PerH
	}
	r.share += (hydrogenM3PerAh*cellA - flow*r.share) / roomM3 * dtS / 3600
}

// Percent returns the hydrogen in the air, % by volume.
func (r *Room) Percent() float64 { return 100 * r.share }
