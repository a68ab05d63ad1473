package main

import (
	"fmt"

	"bayward/deploy/wiring/circuit"
)

func gas() *sheet {
	s := newSheet("gas", "Hydrogen sensor on its own isolated converter",
		"The sensor, fed with 24 volts, sends a voltage through 10 kilohms to a converter of its own, whose input 470 kilohms hold at ground when the lead is off. The converter has an isolator of its own: it shares no ground with the pack.", 820, 290)
	s.heading("Hydrogen sensor: on no pack's potential")
	s.box(30, 90, 150, 80, paper, "hydrogen sensor,", "highest point,", "live zero 0.5 V")
	s.text(105, 190, "middle", soft, "24 V supply of its own")
	s.wire(signal, 180, 120, 450, 120)
	s.resistor(260, 120, false)
	s.text(260, 102, "middle", ink, ohms(circuit.SeriesOhm))
	s.dot(330, 120)
	s.wire(ink, 330, 120, 330, 210)
	s.resistor(330, 165, true)
	s.text(346, 170, "start", ink, ohms(circuit.FloatOhm))
	s.dot(330, 210)
	s.box(380, 105, 50, 30, paper, "diodes")
	s.box(450, 90, 130, 80, tint, "converter", "0x4a")
	s.wire(ink, 180, 150, 210, 150, 210, 210, 515, 210, 515, 170)
	s.ground(210, 210)
	s.dashed(danger, 665, 60, 665, 230)
	s.box(610, 112, 110, 36, paper, "isolator")
	s.wire(signal, 580, 130, 610, 130)
	s.wire(signal, 720, 130, 750, 130)
	s.text(756, 135, "start", ink, "to the Pi")
	s.text(30, 264, "start", soft, "Several bays: one sensor feeds a converter on each bay's bus, each through its own "+ohms(circuit.SeriesOhm)+".")
	return s
}

// pin draws a connector's pin of a length that shows its order.
func (s *sheet) pin(x, y, length int, colour, name string) {
	s.add(`<rect x="%d" y="%d" width="%d" height="12" fill="%s" stroke="%s"/>`, x, y-6, length, colour, ink)
	s.text(x-12, y+5, "end", ink, name)
}

func plug() *sheet {
	s := newSheet("plug", "The plug of a pack that drives away: order of the pins and parking",
		"The power connector has two pilot pins that are 15 millimetres shorter than its poles: they part first and open contactor Q1 before the poles part. In the signal connector sense minus and the 1-wire ground are the longest pins, the probe and 1-wire lines are shorter, sense plus is the shortest. The pack's half has sockets, the bay's half has pins and is parked in a blind socket.", 840, 400)
	s.heading("The plug: what mates first, what parts first")
	s.text(230, 66, "middle", danger, "power connector, bay's half")
	s.pin(180, 96, 120, warm, "plus")
	s.pin(180, 126, 120, warm, "minus")
	s.pin(180, 156, 70, tint, "pilot 1")
	s.pin(180, 186, 70, tint, "pilot 2")
	s.dashed(soft, 250, 146, 250, 214)
	s.dashed(soft, 300, 86, 300, 214)
	s.text(275, 230, "middle", soft, "15 mm")
	s.text(40, 262, "start", soft, "Pilots: last to mate, first to part.", "At 0.5 m/s they are 30 ms ahead;", "Q1 must drop within that, so its", "suppressor is a varistor or Zener diode.")
	s.text(610, 66, "middle", signal, "signal connector, bay's half")
	for i, p := range []struct {
		name   string
		length int
		colour string
	}{
		{"1 sense minus", 120, tint}, {"2 1-wire ground", 120, tint}, {"3 1-wire data", 95, paper}, {"4 1-wire 3.3 V", 95, paper},
		{"5 probe", 95, paper}, {"6 probe, common", 95, paper}, {"7 not used", 95, paper}, {"8 sense plus", 70, warm},
	} {
		s.pin(600, 90+24*i, p.length, p.colour, p.name)
	}
	s.text(450, 300, "start", soft, "Pack's half: sockets, a cap on a lanyard.", "Bay's half: pins without voltage, parked in a", "blind socket, glands down, outside the gas zone.", "F1 and F2 stay at the pack.")
	return s
}

func supplies() *sheet {
	s := newSheet("supplies", "Supplies of one bay, and what may share one",
		"A mains circuit that is not the charger's feeds five isolated supplies: 5 volts for the Pi, 12 volts for the relays, 24 volts for the contacts, 24 volts for the hydrogen sensor and 24 volts for the transmitter. The converters' 3.3 volts come through the isolators from the Pi's side. The cut-off has a supply of its own.", 840, 360)
	s.heading("Supplies: always on, isolated, none from the charger")
	s.box(30, 70, 130, 60, warm, "mains circuit", "of its own")
	s.text(95, 150, "middle", soft, "surge arrester,", "residual current device,", "local code")
	for i, row := range [][]string{
		{"5 V, 15 W", "Pi; from its 3.3 V: optocouplers, watchdog,", "and through the isolators the converters"},
		{"12 V, 5 W", "coils K1 and KW of all bays"},
		{"24 V, 5 W", "contacts of all bays; control circuit of Q1 if it is 24 V"},
		{"24 V, 5 W", "hydrogen sensor, with its converter"},
		{"24 V, 2 W", "a transmitter: one for each pack"},
	} {
		y := 82 + 46*i
		s.wire(danger, 160, 100, 190, 100, 190, y, 220, y)
		s.box(220, y-17, 100, 34, tint, row[0])
		s.wire(ink, 320, y, 350, y)
		top := y + 5 - 8*(len(row)-2)
		s.text(358, top, "start", ink, row[1:]...)
	}
	s.box(30, 310, 290, 34, paper, "independent cut-off: a supply of its own")
	s.text(340, 332, "start", soft, "each supply: reinforced insulation between mains and output")
	return s
}

func buses() *sheet {
	s := newSheet("buses", "Four bays on one Pi: a bus for each bay",
		"Four I²C buses of the Pi, numbers 1, 3, 4 and 5, or four channels of a multiplexer on bus 1. On each bus an isolator and a converter for the pack at address 0x48, for rods one at 0x49, and for the hydrogen sensor one at 0x4a.", 840, 400)
	s.heading("Several bays: a bus for each, the same addresses on all")
	s.box(30, 70, 150, 260, tint)
	s.text(46, 94, "start", ink, "Pi")
	for i, b := range fourBays {
		y := 110 + 60*i
		s.text(170, y+5, "end", ink, fmt.Sprintf("bus %s", b.bus))
		s.wire(signal, 180, y, 220, y)
		s.box(220, y-18, 140, 36, paper, "0x48 pack")
		s.box(370, y-18, 140, 36, paper, "0x49 rods")
		s.box(520, y-18, 140, 36, paper, "0x4a hydrogen")
		s.text(676, y+5, "start", ink, fmt.Sprintf("bay %d", i+1))
	}
	s.text(220, 84, "start", soft, "each box: isolator, converter, protected inputs")
	s.text(30, 356, "start", soft, "With fewer buses: a multiplexer at 0x70 on bus 1 makes eight, and each bay has its own channel.")
	s.text(30, 376, "start", soft, "Keep a bus in the box, below half a metre, with its own pull-ups of 4.7 kΩ on each side of an isolator.")
	return s
}

// lines are a bay's bus and lines on a Pi with four bays.
type lines struct{ bus, relay, heartbeat, mirror, complete string }

// fourBays is the guide's table: 17 lines for outputs and contacts, eight for buses,
// GPIO8 for 1-wire and GPIO15 for the airflow switch.
var fourBays = []lines{
	{"1", "GPIO17", "GPIO24", "GPIO16", "GPIO11"},
	{"3", "GPIO27", "GPIO25", "GPIO20", "GPIO18"},
	{"4", "GPIO22", "GPIO9", "GPIO21", "GPIO19"},
	{"5", "GPIO23", "GPIO10", "GPIO26", "GPIO14"},
}
