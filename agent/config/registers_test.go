package config

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/config/exampletest"
	"bayward/agent/reading"
)

const meters = "\nmodbus:\n  - {name: meters, url: 'rtu:///dev/ttyUSB0'}\n  - {name: yard, url: 'tcp://10.1.2.3:502'}\nbays:"

// onRegisters is small with a register in place of a part.
func onRegisters(part, register string) string {
	text := strings.Replace(small, "\nbays:", meters, 1)
	var kept []string
	for _, line := range strings.Split(text, "\n") {
		if part == "" || !strings.HasPrefix(line, "      "+part+": ") {
			kept = append(kept, line)
		}
	}
	return strings.Replace(strings.Join(kept, "\n"), "packs:\n", "      registers: [{"+register+"}]\npacks:\n", 1)
}

const goodLevel = "reading: level, line: meters, unit: 3, table: holding, address: 4, type: float32, low: -20, high: 40, counter: {address: 9}"

func TestRegistersInPlaceOfParts(t *testing.T) {
	for part, register := range map[string]string{
		"voltage":     "reading: pack-voltage, line: meters, unit: 1, table: input, address: 0, scale: 0.01, low: -1, high: 60",
		"level":       goodLevel,
		"temperature": "reading: pack-temperature, line: yard, unit: 255, table: input, address: 0, type: int16, scale: 0.1, low: -40, high: 125",
		"current":     "reading: pack-current, line: yard, unit: 2, table: input, address: 0, type: int32, scale: -0.001, low: -100, high: 100",
		"":            "reading: hydrogen, line: yard, unit: 2, table: input, address: 0, scale: 0.01, low: 0, high: 4, fault_values: [65535, 0]",
	} {
		c, err := Parse("f", []byte(onRegisters(part, register)))
		require.NoError(t, err, part)
		w := &c.Bays[0].Wiring
		s := w.Registers[0].Sensor()
		require.True(t, w.Has(s) && w.Register(s) == &w.Registers[0], part)
		setups, err := c.Setups()
		require.NoError(t, err)
		require.True(t, setups[0].Has(s), part)
		require.Equal(t, s == reading.PackTemperature, setups[0].TempOnCase && part == "temperature")
	}
}

func TestContactsFromRegisters(t *testing.T) {
	c, err := Parse("f", []byte(onRegisters("", "reading: airflow, line: yard, unit: 2, table: discrete, address: 7, scale: -1, zero: 1}, {reading: hydrogen, line: yard, unit: 2, table: input, address: 0, low: 0, high: 4, counter: {address: 9}")))
	require.NoError(t, err)
	r := c.Bays[0].Wiring.Register(reading.Airflow)
	require.Equal(t, "bit", r.Type)
	require.Equal(t, []float64{0, 1}, []float64{r.Low, r.High})
	setups, err := c.Setups()
	require.NoError(t, err)
	require.True(t, setups[0].Has(reading.Airflow))
	require.Equal(t, "register 7, discrete, unit 2 of yard", setups[0].Fan.Line)
}

func TestBadRegisters(t *testing.T) {
	const at = "field bays[0].wiring.registers[0]."
	for _, row := range []struct{ name, part, register, want string }{
		{"nothing wired and no register", "level", "reading: hydrogen, line: yard, unit: 2, table: input, address: 0, low: 0, high: 4, status: {address: 1, good: 0}",
			"field bays[0].wiring.level: is missing: without it nothing could ever be granted"},
		{"wired as well", "", goodLevel, at + `reading: value "level" is not accepted: must not be read here: level is wired for it`},
		{"contact that is wired as well", "", "reading: contactor-feedback, line: yard, unit: 2, table: coil, address: 0",
			at + `reading: value "contactor-feedback" is not accepted: must not be read here: relay.feedback is wired for it`},
		{"no such reading", "level", strings.Replace(goodLevel, "level", "cover", 1), at + `reading: value "cover" is not accepted: must be pack-voltage`},
		{"no such line", "level", strings.Replace(goodLevel, "meters", "metres", 1), at + `line: value "metres" is not accepted: must be the name of a line under modbus: meters, yard`},
		{"unit beyond a serial line", "level", strings.Replace(goodLevel, "unit: 3", "unit: 250", 1), at + "unit: value 250 is not accepted: must be 1 to 247 on a serial line"},
		{"blind to bare plates", "level", strings.Replace(goodLevel, "low: -20", "low: 2", 1), at + "low: value 2 is not accepted: must include 0 to 13 mm: bare plates and the fill mark"},
		{"blind to the fill mark", "level", strings.Replace(goodLevel, "high: 40", "high: 12", 1), at + "high: value 12 is not accepted: must include 0 to 13 mm: bare plates and the fill mark"},
		{"no limits", "level", strings.Replace(goodLevel, ", low: -20, high: 40", "", 1), at + "low: is missing: must include 0 to 13 mm"},
		{"nothing shows that it lives", "level", strings.Replace(goodLevel, ", counter: {address: 9}", "", 1),
			at + "status: is missing: a register keeps its last value when the device behind it has failed"},
		{"hydrogen that nothing vouches for", "", "reading: hydrogen, line: yard, unit: 2, table: input, address: 0, low: 0, high: 4", at + "status: is missing"},
		{"fan that nothing vouches for", "", "reading: airflow, line: yard, unit: 2, table: discrete, address: 0}, {reading: hydrogen, line: yard, unit: 3, table: input, address: 0, low: 0, high: 4, counter: {address: 9}", at + "status: is missing"},
		{"voltage that ends below a charge", "voltage", "reading: pack-voltage, line: meters, unit: 1, table: input, address: 0, low: 0, high: 30",
			at + "high: value 30 is not accepted: must include 0 to 34.8 V: no pack, and 12 cells on charge"},
		{"number from a coil", "level", strings.Replace(goodLevel, "holding", "coil", 1), at + `type: value "float32" is not accepted: must be bit, or be left out: coils and discrete inputs are bits`},
		{"contact that is a number", "", "reading: airflow, line: yard, unit: 2, table: input, address: 0, type: uint16", at + `type: value "uint16" is not accepted: must be bit: a contact is open or closed`},
		{"contact with limits", "", "reading: airflow, line: yard, unit: 2, table: coil, address: 0, high: 2", at + "high: value 2 is not accepted: must be left out: a contact is 0 or 1"},
		{"contact that is scaled", "", "reading: airflow, line: yard, unit: 2, table: coil, address: 0, scale: 2", at + "scale: value 2 is not accepted: must be left out for a contact, or be -1 with zero: 1"},
		{"no scale", "level", goodLevel + ", scale: 0", at + "scale: value 0 is not accepted: must not be 0"},
		{"bit of a number", "level", goodLevel + ", bit: 3", at + "bit: value 3 is not accepted: must be left out: it is for a register of type bit"},
		{"counter too patient", "level", strings.Replace(goodLevel, "{address: 9}", "{address: 9, within_seconds: 60}", 1), at + "counter.within_seconds: value 60 is not accepted: must be 2 to 20 s"},
		{"address beyond the table", "level", strings.Replace(goodLevel, "address: 4", "address: 65536", 1), at + "address: value 65536 is not accepted: must be 0 to 65535"},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := Parse("f", []byte(onRegisters(row.part, row.register)))
			require.ErrorContains(t, err, row.want)
			inEveryLanguage(t, err)
		})
	}
}

func TestBadLines(t *testing.T) {
	for now, want := range map[string]string{
		"name: meters, url: '/dev/ttyUSB0'":                   `modbus[0].url: value "/dev/ttyUSB0" is not accepted: must be rtu:// with the device`,
		"name: meters, url: 'rtu:///etc/passwd'":              "modbus[0].url",
		"name: meters, url: 'rtu:///dev/../etc/x'":            "modbus[0].url",
		"name: meters, url: 'tcp://10.1.2.3'":                 "modbus[0].url",
		"name: meters, url: 'tcp://a:b@10.1.2.3:502'":         "modbus[0].url",
		"name: meters, url: 'udp://10.1.2.3:502'":             "modbus[0].url",
		"name: yard, url: 'rtu:///dev/ttyUSB0'":               "modbus[1].name",
		"name: meters":                                        "modbus[0].url: is missing: must be rtu://",
		"name: meters, url: 'tcp://10.1.2.4:502', baud: 9600": "modbus[0].baud: value 9600 is not accepted: must be left out: it is for a serial line",
		"name: meters, url: 'tcp://10.1.2.3:502'":             `modbus[1].url: value "tcp://10.1.2.3:502" is not accepted: line tcp://10.1.2.3:502 is already used by modbus[0].url`,
		"name: meters, url: 'rtu:///dev/ttyUSB0', baud: 9601": "modbus[0].baud: value 9601 is not accepted: must be 1200, 2400, 4800, 9600, 19200, 38400, 57600 or 115200",
	} {
		text := strings.Replace(onRegisters("level", goodLevel), "name: meters, url: 'rtu:///dev/ttyUSB0'", now, 1)
		_, err := Parse("f", []byte(text))
		require.ErrorContains(t, err, want, now)
		inEveryLanguage(t, err)
	}
}

// TestExamplesOfModbus: the lines that the example shows in comments are accepted as they
// stand.
func TestExamplesOfModbus(t *testing.T) {
	var out []string
	inside := false
	for _, line := range strings.Split(exampletest.Example(t), "\n") {
		bare := strings.TrimLeft(line, " ")
		switch {
		case bare == "# modbus:" || bare == "# registers:":
			inside = true
		case !strings.HasPrefix(bare, "# "):
			inside = false
		}
		if inside {
			line = strings.Replace(line, "# ", "", 1)
		}
		out = append(out, line)
	}
	c, err := Parse("f", []byte(strings.Join(out, "\n")))
	require.NoError(t, err)
	require.Len(t, c.Modbus, 1)
	require.Len(t, c.Bays[0].Wiring.Registers, 2)
}

// TestSlowLine: a line that cannot answer its registers within a tick is named, with how
// long it takes.
func TestSlowLine(t *testing.T) {
	text := onRegisters("level", goodLevel+"}, {reading: hydrogen, line: meters, unit: 3, table: input, address: 0, low: 0, high: 4, status: {address: 1, good: 0}, age: {address: 2}")
	slow := func(baud string) (found []Warning) {
		for _, w := range warned(t, strings.Replace(text, "ttyUSB0'", "ttyUSB0', baud: "+baud, 1)) {
			if w.Field == "modbus[0]" {
				found = append(found, w)
			}
		}
		return found
	}
	require.Empty(t, slow("9600"))
	found := slow("1200")
	require.Len(t, found, 1)
	require.Contains(t, found[0].Says, "the 5 requests of line meters take about 1.2 s")
}
