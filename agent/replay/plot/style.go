package plot

import "bayward/agent/bay"

// The colours are those of Okabe and Ito, Color Universal Design (2008), which most
// people with a colour deficiency can distinguish; from memory.
const (
	white  = "#ffffff"
	ink    = "#222222"
	soft   = "#cccccc"
	blue   = "#0072b2"
	orange = "#d55e00"
	green  = "#009e73"
	purple = "#a8527f"
)

// shade returns the colour behind the curves in a stage.
func shade(s bay.Stage) string {
	switch s {
	case bay.Vacant:
		return "#ffffff"
	case bay.Checking:
		return "#e4e4e4"
	case bay.Waiting:
		return "#f4f4f4"
	case bay.Charging:
		return "#fdecd2"
	case bay.Cooling:
		return "#dcecf9"
	case bay.ReadyToWater:
		return "#c4ead9"
	case bay.Watering:
		return "#b3d9f2"
	case bay.Rested:
		return "#e6f5e0"
	default:
		return "#ffffff"
	}
}

// bar returns the colour of a stage's own row: its full shade.
func bar(s bay.Stage) string {
	switch s {
	case bay.Charging:
		return "#e69f00"
	case bay.Cooling:
		return "#56b4e9"
	case bay.ReadyToWater:
		return "#009e73"
	case bay.Watering:
		return "#0072b2"
	case bay.Rested:
		return "#8cc474"
	default:
		return "#9a9a9a"
	}
}
