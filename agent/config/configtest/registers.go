package configtest

import "bayward/sensors/wiring"

// Meters is the Modbus line of OnRegisters.
var Meters = wiring.Line{Name: "meters", URL: "rtu:///dev/ttyUSB0", Baud: 19200, Parity: "even", StopBits: 1, TimeoutMS: 300}

// OnRegisters reads everything of a bay but its mirror contact from registers of one
// line: one of each type and table, and each way to show that a device lives.
func OnRegisters(w *wiring.Parts) {
	w.Voltage, w.Current, w.Temperature, w.Level, w.Hydrogen, w.Airflow, w.Complete = nil, nil, nil, nil, nil, nil, nil
	w.Registers = []wiring.Register{
		{
			Reading: "pack-voltage", Unit: 1, Table: "input", Address: 0, Type: "uint16", Scale: 0.01, Low: -1, High: 60,
			Counter: &wiring.RegisterCounter{Address: 9, WithinS: 5},
		},
		{Reading: "pack-current", Unit: 1, Table: "input", Address: 2, Type: "int32", Scale: 0.001, Low: -400, High: 400},
		{Reading: "pack-temperature", Unit: 2, Table: "holding", Address: 0, Type: "int16", Scale: 0.1, Low: -40, High: 125, FaultValues: []float64{-32768}},
		{Reading: "ambient-temperature", Unit: 2, Table: "holding", Address: 1, Type: "int16", Scale: 0.1, Low: -40, High: 125},
		{
			Reading: "level", Unit: 3, Table: "holding", Address: 10, Type: "float32", LowWordFirst: true, Scale: 1, Low: -50, High: 60,
			Counter: &wiring.RegisterCounter{Address: 20, WithinS: 5}, Status: &wiring.RegisterStatus{Address: 21, Good: 1}, Age: &wiring.RegisterAge{Address: 22, UnitS: 1},
		},
		{Reading: "hydrogen", Unit: 4, Table: "input", Address: 100, Type: "uint32", Scale: 0.0001, Low: 0, High: 5, Status: &wiring.RegisterStatus{Address: 102, Good: 0}},
		{Reading: "airflow", Unit: 3, Table: "discrete", Address: 3, Type: "bit", Scale: 1, Low: 0, High: 1},
		{Reading: "charger-complete", Unit: 5, Table: "coil", Address: 4, Type: "bit", Scale: -1, Zero: 1, Low: 0, High: 1},
	}
	for i := range w.Registers {
		w.Registers[i].Line = Meters.Name
	}
}
