package config

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/reading"
)

const oneWireOfSmall = "temperature: {pack: 28-0316a2795bff}"

func TestPlatinumThermometers(t *testing.T) {
	c, err := Parse("f", []byte(strings.Replace(small, oneWireOfSmall, "temperature: {rtd: [{of: pack, spi: SPI0.0, reference_ohm: 430}, {of: ambient, spi: SPI0.1, element: pt1000, wires: 2, reference_ohm: 4300}]}", 1)))
	require.NoError(t, err)
	w := &c.Bays[0].Wiring
	require.Equal(t, 100.0, w.Temperature.RTDOf("pack").NominalOhm())
	require.Equal(t, 3, w.Temperature.RTDOf("pack").Wires)
	require.Equal(t, 1000.0, w.Temperature.RTDOf("ambient").NominalOhm())
	require.False(t, c.Bays[0].Recognises())
	require.Equal(t, "pt100 behind a MAX31865 at SPI 0.0", w.SensorLine(reading.PackTemperature))
	setups, err := c.Setups()
	require.NoError(t, err)
	require.True(t, setups[0].Has(reading.AmbientTemperature))
}

func TestBadPlatinumThermometers(t *testing.T) {
	const at = "field bays[0].wiring.temperature."
	for now, want := range map[string]string{
		"rtd: [{of: pack, spi: SPI0.0}]":                                                                     at + "rtd[0].reference_ohm: is missing",
		"rtd: [{of: pack, spi: SPI0.0, reference_ohm: 430, element: pt1000}]":                                at + "rtd[0].reference_ohm: value 430 is not accepted: must be larger: an element of 1000 Ω",
		"rtd: [{of: pack, spi: SPI0, reference_ohm: 430}]":                                                   at + `rtd[0].spi: value "SPI0" is not accepted: must be bus and chip select`,
		"rtd: [{of: room, spi: SPI0.0, reference_ohm: 430}]":                                                 at + `rtd[0].of: value "room" is not accepted: must be pack or ambient`,
		"pack: 28-0316a2795bff, rtd: [{of: pack, spi: SPI0.0, reference_ohm: 430}]":                          at + `rtd[0].of: value "pack" is not accepted: must not be read here: pack names a 1-wire sensor for it`,
		"rtd: [{of: pack, spi: SPI0.0, reference_ohm: 430}, {of: pack, spi: SPI0.1, reference_ohm: 430}]":    at + `rtd[1].of: value "pack" is not accepted: must not be there twice`,
		"rtd: [{of: pack, spi: SPI0.0, reference_ohm: 430}, {of: ambient, spi: SPI0.0, reference_ohm: 430}]": at + `rtd[1].spi: value "SPI0.0" is not accepted: converter of another family at SPI 0.0 is already used`,
		"rtd: [{of: ambient, spi: SPI0.0, reference_ohm: 430}]":                                              at + "pack: is missing",
		"rtd: [{of: pack, spi: SPI0.0, reference_ohm: 430, wires: 5}]":                                       at + "rtd[0].wires: value 5 is not accepted: must be 2, 3 or 4",
	} {
		_, err := Parse("f", []byte(strings.Replace(small, oneWireOfSmall, "temperature: {"+now+"}", 1)))
		require.ErrorContains(t, err, want, now)
		inEveryLanguage(t, err)
	}
}
