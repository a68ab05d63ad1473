package config

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/config/exampletest"
	"bayward/sensors/families"
)

var (
	fenced   = regexp.MustCompile("(?s)```yaml\n(.*?)```")
	partHead = regexp.MustCompile(`(?m)^      ([a-z_]+):\n`)
)

// TestConvertersGuide: each example of deploy/converters.md is accepted in place of the
// part of the same name in the complete example, and the guide has a row for each family
// with its addresses and what it reads up to.
func TestConvertersGuide(t *testing.T) {
	raw, err := os.ReadFile("../../deploy/converters.md")
	require.NoError(t, err)
	guide, blocks := string(raw), 0
	for _, m := range fenced.FindAllStringSubmatch(guide, -1) {
		blocks++
		_, err := Parse("f", []byte(withParts(t, exampletest.Example(t), m[1])))
		require.NoError(t, err, m[1])
	}
	require.Equal(t, 3, blocks)
	for _, f := range families.All() {
		row := regexp.MustCompile("(?m)^\\| `" + f.Name + "`.*$").FindString(guide)
		require.NotEmpty(t, row, f.Name)
		if f.LastAddr > 0 {
			require.Contains(t, row, fmt.Sprintf("`adc: 0x%x` to `0x%x`", f.FirstAddr, f.LastAddr))
		}
		last := &f.Channels[len(f.Channels)-1]
		for _, v := range last.Ranges {
			if v == last.Ranges[0] || v == last.Ranges[len(last.Ranges)-1] {
				require.Contains(t, row, plain(v), f.Name)
			}
		}
		if f.Name != "mcp3208" { // its reference
			require.Contains(t, row, plain(last.TopV)+" V", f.Name)
		}
	}
}

// withParts replaces parts of the example's only bay.
func withParts(t *testing.T, example, parts string) string {
	t.Helper()
	heads := partHead.FindAllStringSubmatchIndex(parts, -1)
	require.NotEmpty(t, heads, parts)
	for i, at := range heads {
		end := len(parts)
		if i+1 < len(heads) {
			end = heads[i+1][0]
		}
		name := parts[at[2]:at[3]]
		old := regexp.MustCompile(`(?m)^      ` + name + `:\n(?:^        .*\n)+`).FindString(example)
		require.NotEmpty(t, old, name)
		example = strings.Replace(example, old, parts[at[0]:end], 1)
	}
	return example
}

// TestBadInputs: what does not fit the family of an input's converter.
func TestBadInputs(t *testing.T) {
	for _, row := range []struct{ name, part, want string }{
		{"no such family", "voltage: {converter: ads9, adc: 0x48, channel: 0, ratio: 11}",
			`voltage.converter: value "ads9" is not accepted: must be ads1115, ads1118, mcp3208, ina226 or ina228`},
		{"spi for a chip on I²C", "voltage: {adc: 0x48, spi: SPI0.0, channel: 0, ratio: 11}",
			`voltage.spi: value "SPI0.0" is not accepted: must be left out: an ADS1115 is on I²C, at an address (adc)`},
		{"address for a chip on SPI", "voltage: {converter: ads1118, adc: 0x48, spi: SPI0.0, channel: 0, ratio: 11}",
			`voltage.adc: value 0x48 is not accepted: must be left out: an ADS1118 is on SPI, behind a chip select (spi)`},
		{"no chip select", "voltage: {converter: mcp3208, channel: 0, range_v: 4.096, ratio: 11}",
			"voltage.spi: is missing: must be bus and chip select, such as SPI0.0"},
		{"chip select that is a number", "voltage: {converter: ads1118, spi: 0.0, channel: 0, ratio: 11}",
			"voltage.spi: value 0.0 is not accepted: must be text, in quotes where it looks like a number or like true or false"},
		{"chip select that is none", "voltage: {converter: ads1118, spi: SPI0, channel: 0, ratio: 11}",
			`voltage.spi: value "SPI0" is not accepted: must be bus and chip select, such as SPI0.0`},
		{"no reference", "voltage: {converter: mcp3208, spi: SPI0.0, channel: 7, ratio: 11}",
			"voltage.range_v: is missing: must be 1 to 5.5 V"},
		{"rate of a chip without rates", "voltage: {converter: mcp3208, spi: SPI0.0, channel: 7, range_v: 4.096, rate: 128, ratio: 11}",
			"voltage.rate: value 128 is not accepted: must be left out: an MCP3208 has no rate to choose"},
		{"channel beyond the chip", "voltage: {converter: mcp3208, spi: SPI0.0, channel: 8, range_v: 4.096, ratio: 11}",
			"voltage.channel: value 8 is not accepted: must be 0 to 7"},
		{"address of another family", "voltage: {converter: ina226, adc: 0x50, channel: 1, ratio: 1}",
			"voltage.adc: value 0x50 is not accepted: must be 0x40 to 0x4f, the addresses of an INA226"},
		{"pack on the shunt's channel", "voltage: {converter: ina226, adc: 0x40, channel: 0, ratio: 1}",
			"voltage.channel: value 0 is not accepted: must be 1, where an INA226 measures a voltage against ground"},
		{"shunt on the bus channel", "current: {converter: ina226, adc: 0x40, channel: 1, kind: shunt, amperes_per_volt: 2500}",
			"current.channel: value 1 is not accepted: must be 0, where an INA226 measures a shunt"},
		{"shunt with two channels", "current: {converter: ina226, adc: 0x40, channel: 0, minus: 1, kind: shunt, amperes_per_volt: 2500}",
			"current.minus: value 1 is not accepted: must be left out: channel 0 of an INA226 takes both ends of the shunt"},
		{"shunt on a chip that cannot", "current: {converter: mcp3208, spi: SPI0.0, channel: 1, range_v: 4.096, kind: shunt, amperes_per_volt: 2500}",
			"current.channel: value 1 is not accepted: must be of another converter: an MCP3208 measures against ground only, which is no place for a shunt"},
		{"pack above what the chip takes", "voltage: {converter: ina226, adc: 0x40, channel: 1, ratio: 0.5}",
			"voltage.ratio: value 0.5 is not accepted: must be 1 to 1000: the sum of both resistors over the lower one, or 1 without a divider"},
		{"two families at one place", "current: {converter: ads1115, adc: 0x49, channel: 1, kind: hall, amperes_per_volt: 100, zero_v: 1.65}\n      hydrogen: {converter: ina226, adc: 0x49, channel: 1, zero_v: 0.5, per_volt: 2}",
			"hydrogen.adc: value 0x49 is not accepted: converter of another family at 0x49 on bus 1 is already used by bays[0].wiring.current.adc"},
		{"relay on a line of SPI", "hydrogen: {converter: ads1118, spi: SPI0.0, channel: 1, zero_v: 0.5, per_volt: 2}\n      relay: {pin: GPIO10, heartbeat: GPIO27}",
			`relay.pin: value "GPIO10" is not accepted: line GPIO10 is already used by bays[0].wiring.hydrogen.spi`},
		{"one channel twice on SPI", "current: {converter: ads1118, spi: SPI0.0, channel: 1, kind: hall, amperes_per_volt: 100, zero_v: 1.65}\n      hydrogen: {converter: ads1118, spi: /dev/spidev0.0, channel: 1, zero_v: 0.5, per_volt: 2}",
			"hydrogen.channel: value 1 is not accepted: converter SPI 0.0, channel 1 is already used by bays[0].wiring.current.channel"},
	} {
		t.Run(row.name, func(t *testing.T) {
			text := small
			for _, line := range strings.Split(row.part, "\n      ") {
				key, _, _ := strings.Cut(line, ":")
				if old := regexp.MustCompile(`(?m)^      ` + key + `: .*$`).FindString(text); old != "" {
					text = strings.Replace(text, old, "      "+line, 1)
				} else {
					text = strings.Replace(text, "      relay: ", "      "+line+"\n      relay: ", 1)
				}
			}
			_, err := Parse("f", []byte(text))
			require.ErrorContains(t, err, "field bays[0].wiring."+row.want)
		})
	}
}
