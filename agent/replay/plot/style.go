package plot

import (
	"image/color"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bayward/agent/bay"
)

func rgb(hex uint32) color.RGBA {
	return color.RGBA{R: uint8(hex >> 16), G: uint8(hex >> 8), B: uint8(hex), A: 255}
}

// The colours are those of Okabe and Ito, Color Universal Design (2008), which
// most people with a colour deficiency tell apart; from memory.
var ( //nolint:gochecknoglobals // constants
	white  = rgb(0xffffff)
	ink    = rgb(0x222222)
	soft   = rgb(0xcccccc)
	blue   = rgb(0x0072b2)
	orange = rgb(0xd55e00)
	green  = rgb(0x009e73)
	purple = rgb(0xa8527f)
)

// shade is the colour behind the curves in a stage.
func shade(s bay.Stage) color.RGBA {
	switch s {
	case bay.Vacant:
		return rgb(0xffffff)
	case bay.Settling:
		return rgb(0xe4e4e4)
	case bay.Waiting:
		return rgb(0xf4f4f4)
	case bay.Charging:
		return rgb(0xfdecd2)
	case bay.Cooling:
		return rgb(0xdcecf9)
	case bay.ReadyToWater:
		return rgb(0xc4ead9)
	case bay.Watering:
		return rgb(0xb3d9f2)
	case bay.Rested:
		return rgb(0xe6f5e0)
	default:
		return rgb(0xffffff)
	}
}

// bar is the colour of a stage's own row: its shade in full.
func bar(s bay.Stage) color.RGBA {
	switch s {
	case bay.Charging:
		return rgb(0xe69f00)
	case bay.Cooling:
		return rgb(0x56b4e9)
	case bay.ReadyToWater:
		return rgb(0x009e73)
	case bay.Watering:
		return rgb(0x0072b2)
	case bay.Rested:
		return rgb(0x8cc474)
	default:
		return rgb(0x9a9a9a)
	}
}

func sans(size vg.Length) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
}

func textStyle(size vg.Length, x draw.XAlignment, y draw.YAlignment) draw.TextStyle {
	return draw.TextStyle{Color: ink, Font: sans(size), XAlign: x, YAlign: y, Handler: text.Plain{Fonts: font.DefaultCache}}
}
