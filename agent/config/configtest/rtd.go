package configtest

import "bayward/sensors/wiring"

// OnPlatinum reads both temperatures of a bay from platinum thermometers.
func OnPlatinum(w *wiring.Parts) {
	w.Temperature.Pack, w.Temperature.Ambient = "", ""
	w.Temperature.RTD = []wiring.RTD{
		{Of: "pack", SPI: "0.0", Element: "pt100", Wires: 3, ReferenceOhm: 430, MainsHz: 50},
		{Of: "ambient", SPI: "0.1", Element: "pt1000", Wires: 2, ReferenceOhm: 4300, MainsHz: 60},
	}
}
