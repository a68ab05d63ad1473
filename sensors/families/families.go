// Package families is the table of the converters that can be wired up. Configuration,
// drivers, simulator and walk take everything that they know of a family from its row.
package families

import (
	"bayward/sensors/ads1115"
	"bayward/sensors/ads1118"
	"bayward/sensors/converter"
	"bayward/sensors/ina22x"
	"bayward/sensors/mcp3208"
)

// table has a row for each family. The first is meant where the configuration names
// none.
var table = []*converter.Family{
	&ads1115.Family,
	&ads1118.Family,
	&mcp3208.Family,
	&ina22x.Family226,
	&ina22x.Family228,
}

// Names lists the families as the configuration names them.
func Names() []string {
	names := make([]string, len(table))
	for i, f := range table {
		names[i] = f.Name
	}
	return names
}

// All lists the families.
func All() []*converter.Family { return table }

// Named finds a family by its name in the configuration, where "" is the first row;
// ok is false for a name without a row.
func Named(name string) (f *converter.Family, ok bool) {
	if name == "" {
		return table[0], true
	}
	for _, f := range table {
		if f.Name == name {
			return f, true
		}
	}
	return nil, false
}
