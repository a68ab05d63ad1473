package circuit

import (
	"fmt"
	"math"
	"slices"
)

// BaysOnAPi is the most bays that one Pi has buses and lines for, with every contact.
const BaysOnAPi = 4

// converters are those of a bay: one for the pack, one for the hydrogen sensor.
const converters = 2

// Item is a line of the bill of materials.
type Item struct {
	What, Need string
	EachBay    int
	EachPi     int
}

// Count is how many are needed for a number of bays.
func (i Item) Count(bays int) int {
	return i.EachBay*bays + i.EachPi*((bays+BaysOnAPi-1)/BaysOnAPi)
}

// Bill lists the parts of bays with a transmitter, a Hall sensor, a hydrogen sensor for
// each Pi, an airflow switch for each Pi, a mirror contact and a charger's contact. What
// is in the circuits is counted there.
func Bill() []Item {
	items := []Item{
		{"Raspberry Pi, industrial-grade SD card", "any with a 40-pin header; for four bays one with the buses of section 11", 0, 1},
		{"supply 5 V, 15 W", "each supply: reinforced insulation between mains and output; on a mains circuit of its own, since the charger is locked off while the Pi runs", 0, 1},
		{"supply 12 V, 5 W", "coils", 0, 1},
		{"supply 24 V, 5 W", "one for the contacts, one for the hydrogen sensor", 0, 2},
		{"supply 24 V, 2 W, isolated", "one for each transmitter", 1, 0},
		{"board with a 16-bit converter ADS1115", "I²C, address by the ADDR pin; one for the pack, one for the hydrogen sensor", converters, 0},
		{"I²C isolator with an isolated 3.3 V supply, and its own pull-ups", "section 3: working voltage, insulation, creepage", converters, 0},
		{"level transmitter 4 to 20 mA", "made for battery acid, with a fitting for the vent hole; certified for gas group IIC", 1, 0},
		{"barrier", "certified for IIC; entity values checked by whoever designs the loop", 1, 0},
		{"Hall sensor, or shunt in the minus lead", "range above a quarter of the capacity in A", 1, 0},
		{"hydrogen sensor", "live zero; it feeds the converters of all bays of its Pi", 0, 1},
		{"airflow switch for the fan", "in the air stream", 0, 1},
		{"DS18B20 in an acid-proof sheath", "one for each pack, one for the air", 1, 1},
		{"relay 12 V, 400 Ω or more", "K1, KW; contacts for the coil of Q1 and for its supply's voltage", 2, 0},
		{"watchdog's other parts", "section 8: comparator, 2 × 47 µF, 10 µF film, 2 × 1.82 MΩ, 24.9 kΩ, 2 × 10 kΩ, 1 kΩ, two diodes", 1, 0},
		{"power connector with two pilot pins, both halves", "section 10", 1, 0},
		{"signal connector, 8 poles, IP67, gold; both halves, cap, blind socket", "section 10", 1, 0},
		{"suppressor 33 V, bidirectional, 1.5 kW", "at each pair of 24 V terminals that leaves the box: transmitter, contacts", 3, 2},
		{"IP65 box, glands, DIN rail, terminals, ferrules, tinned wire", "polycarbonate: acid mist corrodes steel and copper", 1, 1},
	}
	return append(items, counted()...)
}

// The circuits of each bay, where two of the contacts are the mirror contact and the
// charger's, and of each Pi, where the contact is the airflow switch.
var (
	ofBay = []*Circuit{Voltage(25, 11), Loop(0.012), Hall(1.65), Gas(0.5), Enable(true, true), Contact(false), Contact(false)}
	ofPi  = []*Circuit{OneWire(false), Contact(false)}
)

// counted adds up the small parts of the circuits.
func counted() []Item {
	bays, pis := map[string]int{"1000 Ω": converters}, map[string]int{}
	for _, c := range ofBay {
		count(c, bays)
	}
	for _, c := range ofPi {
		count(c, pis)
	}
	var items []Item
	for _, row := range smallParts {
		items = append(items, Item{row.what, row.need, bays[row.key], pis[row.key]})
	}
	return items
}

var smallParts = []struct{ key, what, need string }{
	{"fuse", "fuse 0.1 A in a touch-proof holder", "sealed, sand-filled, rated for the pack's DC voltage: F1, F2 at the pack, one for the transmitter"},
	{"R1", "resistor R1a, R1b, 1 %, 0.25 W", "section 2; stands pulses of 500 V"},
	{"47 Ω", "resistor 47 Ω", "each resistor: 1 %, 0.25 W, where nothing else is said"},
	{"100 Ω", "resistor 100 Ω, 1 W, 0.1 %", "transmitter's shunt"},
	{"220 Ω", "resistor 220 Ω, 2 W", ""},
	{"470 Ω", "resistor 470 Ω", ""},
	{"1000 Ω", "resistor 1 kΩ", "a shunt instead of a Hall sensor: two more"},
	{"3900 Ω", "resistor 3.9 kΩ", ""},
	{"4700 Ω", "resistor 4.7 kΩ", ""},
	{"10000 Ω", "resistor 10 kΩ", "R2 of the divider too"},
	{"470000 Ω", "resistor 470 kΩ", ""},
	{"100 nF", "capacitor 100 nF", "level"},
	{"10000 nF", "capacitor 10 µF", "voltage, current, hydrogen"},
	{"signal diode", "silicon diode, leakage below 100 nA", "two at each input, one against each optocoupler"},
	{"coil diode", "diode 1 A", "across K1 and KW"},
	{"suppressor", "the maker's suppressor for Q1", "section 10: varistor or Zener diode"},
	{"5 V", "suppressor 5 V", "1-wire data"},
	{"optocoupler", "optocoupler", "reinforced insulation where mains is on the other side"},
	{"transistor", "MOSFET 60 V, gate for 12 V", "K1, KW"},
}

// count adds a circuit's own parts to the counts.
func count(c *Circuit, n map[string]int) {
	for _, p := range c.Parts {
		if key := billed(p); key != "" {
			n[key]++
		}
	}
}

// onTheirOwn are parts that the bill lists by themselves, or once for a converter.
var onTheirOwn = []string{"1 kΩ across the supply", "transmitter", "K1 coil", "KW coil", "contact of K1", "contact of KW", "coil of Q1", "sensor", "sensor's lead", "pilot pins", "wires", "K1 optocoupler's transistor", "KW optocoupler's transistor", "optocoupler's transistor"}

// billed is the key of a part in smallParts, "" for what the bill does not count.
func billed(p Part) string {
	switch {
	case p.Given, p.Kind == Supply, p.Kind == Source, slices.Contains(onTheirOwn, p.Name):
		return ""
	case p.Name == "R1a", p.Name == "R1b":
		return "R1"
	case p.Name == "suppressor of Q1":
		return "suppressor"
	case p.Name == "suppressor, data to ground":
		return "5 V"
	case p.Kind == Fuse:
		return "fuse"
	case p.Kind == Resistor:
		return fmt.Sprintf("%.0f Ω", p.Ohm)
	case p.Kind == Capacitor:
		return fmt.Sprintf("%.0f nF", math.Round(p.Farad*1e9))
	case p.Kind == Switched:
		return "transistor"
	case p.Volts == LedV:
		return "optocoupler"
	case slices.Contains([]string{"K1 diode across the coil", "KW diode across the coil"}, p.Name):
		return "coil diode"
	}
	return "signal diode"
}
