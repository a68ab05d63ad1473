package main

import "bayward/deploy/wiring/circuit"

// pictures returns all pictures of the guide.
func pictures() []*sheet {
	return []*sheet{overview(), input(), divider(), probe(), potential(), transmitter(), current(), gas(), oneWire(), contacts(), relay(), watchdog(), placing(), plug(), supplies(), buses(), spi(), modbus()}
}

func overview() *sheet {
	s := newSheet("overview", "Overview of one bay",
		"The pack's fused sense leads go to the measuring box. The level probe has its own converter. An isolator is between each converter and the Pi. The Pi's relay output, with a watchdog relay, enables the charger. A feedback contact returns to the Pi. An independent cut-off acts on a second switching element in the charger's supply.", 860, 470)
	s.heading("One bay: what connects to what")
	s.add(`<rect x="20" y="50" width="240" height="400" rx="8" fill="%s"/>`, warm)
	s.text(30, 70, "start", danger, "gas, acid, full battery current")
	s.add(`<rect x="280" y="50" width="190" height="400" rx="8" fill="%s"/>`, tint)
	s.text(290, 70, "start", soft, "on the pack's potential")
	s.add(`<rect x="490" y="50" width="350" height="400" rx="8" fill="%s"/>`, tint)
	s.text(500, 70, "start", soft, "extra-low voltage, isolated")

	s.box(40, 250, 130, 100, paper, "pack", "12 to 40 cells")
	s.text(70, 370, "start", danger, "with level probe and", "temperature sensor")
	s.wire(danger, 60, 250, 60, 120, 300, 120)
	s.fuse(130, 120)
	s.text(130, 104, "middle", danger, "fuse at the pack")
	s.wire(ink, 110, 250, 110, 160, 300, 160)
	s.fuse(180, 160)
	s.wire(signal, 170, 280, 290, 280)
	s.text(180, 272, "start", signal, "probe loop")
	s.wire(signal, 170, 330, 500, 330)
	s.text(300, 322, "start", signal, "1-wire (own insulation)")

	s.box(300, 100, 150, 80, paper, "divider, diodes,", "converter 0x48")
	s.box(290, 250, 125, 50, paper, "probe's pulses,", "converter 0x49")
	s.dashed(danger, 480, 60, 480, 440)
	s.box(430, 200, 100, 34, paper, "isolator")
	s.wire(signal, 450, 140, 470, 140, 470, 200)
	s.wire(signal, 530, 217, 560, 217)
	s.box(430, 258, 100, 34, paper, "isolator")
	s.wire(signal, 415, 275, 430, 275)
	s.wire(signal, 530, 275, 545, 275, 545, 217)
	s.text(500, 96, "start", danger, "I²C and its supply cross", "only through the isolator")

	s.box(560, 130, 120, 100, paper, "Pi", "bayward")
	s.wire(signal, 500, 330, 620, 330, 620, 230)
	s.wire(ink, 680, 160, 710, 160)
	s.box(710, 130, 125, 60, paper, "relays K1, KW,", "optocouplers")
	s.wire(signal, 775, 190, 775, 380, 620, 380)
	s.text(640, 372, "start", signal, "enable")
	s.box(500, 355, 120, 60, paper, "charger", "remote enable")
	s.wire(signal, 650, 230, 650, 300, 720, 300, 720, 415, 620, 415)
	s.text(660, 432, "start", signal, "feedback contact")
	s.wire(danger, 500, 400, 55, 400, 55, 350)
	s.text(80, 420, "start", danger, "charging current")
	s.box(350, 420, 210, 24, paper, "independent cut-off, with Q2")
	s.wire(danger, 560, 432, 580, 432, 580, 415)
	return s
}

func input() *sheet {
	s := newSheet("input", "What protects every converter input",
		"Each signal reaches the converter through a series resistor of 10 kilohms. Behind it a capacitor goes to ground, one diode to the converter's supply and one from its ground. A resistor of 1 kilohm across the supply takes what the upper diode brings.", 820, 350)
	s.heading("Every converter input")
	s.terminal(60, 190)
	s.text(60, 174, "middle", signal, "signal")
	s.wire(signal, 64, 190, 620, 190)
	s.resistor(150, 190, false)
	s.text(150, 172, "middle", ink, ohms(circuit.SeriesOhm)+", 0.25 W")
	s.text(150, 214, "middle", soft, "shunt: "+ohms(circuit.ShuntLeadOhm)+" in each", "of its two leads")
	s.dot(270, 190)
	s.wire(ink, 270, 190, 270, 300)
	s.box(256, 232, 28, 30, paper, "C")
	s.text(292, 252, "start", soft, farads(circuit.FastF)+"; "+farads(circuit.SlowF), "for voltage,", "current, gas")
	s.dot(270, 300)
	s.dot(390, 190)
	s.wire(ink, 390, 80, 390, 300)
	s.diode(390, 135)
	s.diode(390, 245)
	s.text(408, 140, "start", ink, "silicon, leakage", "below 100 nA")
	s.text(408, 250, "start", ink, "the same")
	s.dot(390, 300)
	s.dot(390, 80)
	s.terminal(60, 80)
	s.text(60, 64, "middle", ink, "3.3 V")
	s.text(90, 72, "start", soft, "from the isolator")
	s.wire(ink, 64, 80, 690, 80, 690, 150)
	s.dot(560, 80)
	s.wire(ink, 560, 80, 560, 300)
	s.dot(560, 300)
	s.add(`<path d="M552,190 a8,8 0 0 1 16,0" fill="none" stroke="%s" stroke-width="2"/>`, signal)
	s.resistor(560, 120, true)
	s.text(574, 125, "start", ink, ohms(circuit.BleederOhm))
	s.box(620, 150, 140, 90, tint, "converter")
	s.wire(ink, 60, 300, 690, 300, 690, 240)
	s.terminal(60, 300)
	s.ground(150, 300)
	s.text(60, 326, "middle", soft, "ground")
	return s
}

func divider() *sheet {
	s := newSheet("divider", "Pack voltage: fused sense leads, divider and clamp",
		"The pack's plus goes through a fuse at the pack and two resistors in series to the converter's input. One resistor goes from the input to the converter's ground. Diodes and a capacitor protect the input. The pack's minus, also fused, is the converter's ground.", 820, 330)
	s.heading("Pack voltage")
	s.add(`<rect x="20" y="60" width="210" height="240" rx="8" fill="%s"/>`, warm)
	s.text(30, 80, "start", danger, "at the pack, before the plug")
	s.terminal(40, 130)
	s.text(40, 116, "middle", danger, "+")
	s.wire(danger, 44, 130, 440, 130)
	s.fuse(120, 130)
	s.text(120, 112, "middle", danger, "F1 0.1 A")
	s.terminal(40, 270)
	s.text(40, 256, "middle", ink, "-")
	s.wire(ink, 44, 270, 640, 270)
	s.fuse(120, 270)
	s.text(120, 252, "middle", danger, "F2 0.1 A")
	s.text(258, 252, "start", soft, "twisted pair")
	s.resistor(320, 130, false)
	s.text(320, 112, "middle", ink, "R1a")
	s.resistor(390, 130, false)
	s.text(390, 112, "middle", ink, "R1b")
	s.text(355, 160, "middle", soft, "R1 = R1a + R1b")
	s.wire(signal, 440, 130, 660, 130)
	s.dot(450, 130)
	s.wire(ink, 450, 130, 450, 270)
	s.resistor(450, 200, true)
	s.text(466, 205, "start", ink, "R2 "+ohms(circuit.LowerOhm))
	s.dot(450, 270)
	s.dot(550, 130)
	s.wire(ink, 550, 130, 550, 270)
	s.box(536, 184, 28, 30, paper, "C")
	s.text(570, 204, "start", soft, farads(circuit.SlowF))
	s.dot(550, 270)
	s.box(590, 115, 50, 30, paper, "diodes")
	s.text(600, 72, "middle", soft, "as at every input;", "R1 is the series resistor")
	s.box(660, 110, 130, 180, tint, "converter", "A0 ... A3", "address 0x48")
	s.dot(625, 270)
	s.wire(ink, 625, 270, 660, 270)
	s.ground(625, 274)
	return s
}

func transmitter() *sheet {
	s := newSheet("transmitter", "Level transmitter 4 to 20 mA and the bands of NAMUR NE 43",
		"In the box, outside the gas zone: an isolated 24 volt supply, a fuse, a resistor of 220 ohms that limits a short, the terminals for the test resistor, and a barrier certified for gas group IIC. Behind the barrier the two-wire transmitter is in the cell. The current returns through the shunt, across which the converter measures through 10 kilohms. Below are the bands: up to 3.6 mA and from 21 mA a failure, 3.8 to 20.5 mA the measurement, in between neither.", 860, 440)
	s.heading("Level transmitter, 4 to 20 mA")
	s.add(`<rect x="600" y="50" width="240" height="220" rx="8" fill="%s"/>`, warm)
	s.text(610, 70, "start", danger, "gas zone: nothing may spark")
	s.box(20, 80, 110, 130, tint, "24 V supply,", "isolated")
	s.wire(danger, 130, 100, 440, 100)
	s.fuse(170, 100)
	s.text(170, 84, "middle", danger, "0.1 A")
	s.resistor(250, 100, false)
	s.text(250, 84, "middle", ink, ohms(circuit.LimitOhm)+", 2 W")
	s.terminal(370, 100)
	s.terminal(370, 190)
	s.text(364, 138, "end", soft, "test resistor 680 Ω, 1 W,", "here with the barrier off;", "no short, ever")
	s.box(440, 80, 130, 130, paper, "barrier, certified", "for gas group IIC")
	s.wire(signal, 570, 100, 650, 100)
	s.wire(signal, 570, 190, 650, 190)
	s.box(650, 90, 170, 110, paper, "transmitter", "in the cell,", "acid-proof, certified,", "loop-powered")
	s.text(610, 230, "start", danger, "entity values of barrier, cable", "and transmitter: checked")
	s.wire(signal, 440, 190, 130, 190)
	s.dot(250, 190)
	s.resistor(190, 190, false)
	s.text(190, 176, "middle", ink, ohms(circuit.LoopShuntOhm)+", 1 W, 0.1 %")
	s.dot(145, 190)
	s.wire(ink, 145, 190, 145, 236)
	s.ground(145, 236)
	s.wire(signal, 250, 190, 250, 250, 440, 250)
	s.resistor(310, 250, false)
	s.text(310, 234, "middle", ink, ohms(circuit.SeriesOhm))
	s.box(360, 235, 50, 30, paper, "diodes")
	s.box(440, 235, 130, 40, tint, "converter")
	const x0, perMA = 60, 31
	at := func(mA float64) int { return x0 + int(mA*perMA) }
	band := func(from, to float64, fill string) {
		s.add(`<rect x="%d" y="330" width="%d" height="30" fill="%s" stroke="%s"/>`, at(from), at(to)-at(from), fill, ink)
	}
	band(0, 3.6, warm)
	band(3.6, 3.8, paper)
	band(3.8, 20.5, tint)
	band(20.5, 21, paper)
	band(21, 23, warm)
	s.text(at(1.8), 350, "middle", danger, "broken wire")
	s.text(at(12), 350, "middle", ink, "measurement: 4 mA is low_mm, 20 mA is high_mm")
	s.text(at(21)+6, 350, "start", danger, "failure")
	for _, m := range []struct {
		mA     float64
		text   string
		anchor string
	}{{0, "0", "middle"}, {3.6, "3.6", "end"}, {3.8, "3.8 mA", "start"}, {20.5, "20.5", "end"}, {21, "21 mA", "start"}} {
		s.text(at(m.mA), 378, m.anchor, soft, m.text)
	}
	s.text(x0, 410, "start", soft, "Bands of NAMUR NE 43. Over 100 Ω, 21 mA are 2.1 V: within range_v 4.096.")
	return s
}

func current() *sheet {
	s := newSheet("current", "Current sensor: Hall sensor or shunt",
		"On the left a Hall sensor around the charging lead, its arrow towards the pack, supplied with 3.3 volts from the isolator, its output through 10 kilohms to the converter, whose input 470 kilohms hold at ground when the lead is off. On the right a shunt in the pack's minus lead, each of its two sense terminals through 1 kilohm to one of two converter inputs; the converter's ground comes through fuse F2.", 860, 330)
	s.heading("Current: a Hall sensor, or a shunt in the minus lead")
	s.wire(danger, 30, 100, 390, 100)
	s.text(30, 84, "start", danger, "from Q1")
	s.text(390, 84, "end", danger, "to the pack's plus")
	s.box(150, 75, 100, 50, paper, "Hall sensor", "arrow: to pack")
	s.text(200, 66, "middle", soft, "supply 3.3 V from the isolator")
	s.wire(signal, 160, 125, 160, 200, 270, 200)
	s.resistor(200, 200, false)
	s.text(200, 184, "middle", ink, ohms(circuit.SeriesOhm))
	s.dot(245, 200)
	s.wire(ink, 245, 200, 245, 256)
	s.resistor(245, 232, true)
	s.text(260, 240, "start", ink, ohms(circuit.FloatOhm))
	s.ground(245, 250)
	s.box(270, 180, 110, 40, tint, "converter A1")
	s.text(30, 300, "start", soft, "a 5 V sensor: two resistors of 10 kΩ halve its", "output; zero_v halves, amperes_per_volt doubles")
	s.dashed(soft, 425, 50, 425, 280)
	s.wire(ink, 450, 100, 840, 100)
	s.text(450, 84, "start", ink, "to the charger's minus")
	s.text(840, 84, "end", ink, "from the pack's minus")
	s.box(600, 82, 90, 36, paper, "shunt")
	s.wire(signal, 615, 118, 615, 200, 560, 200)
	s.resistor(615, 158, true)
	s.text(600, 163, "end", ink, ohms(circuit.ShuntLeadOhm))
	s.wire(signal, 675, 118, 675, 220, 560, 220)
	s.resistor(675, 158, true)
	s.text(690, 163, "start", ink, ohms(circuit.ShuntLeadOhm))
	s.box(450, 185, 110, 50, tint)
	s.text(505, 178, "middle", ink, "converter")
	s.text(552, 204, "end", ink, "minus: A3")
	s.text(552, 224, "end", ink, "channel: A2")
	s.wire(ink, 780, 100, 780, 270, 505, 270, 505, 235)
	s.resistor(780, 200, true)
	s.wire(danger, 780, 182, 780, 218)
	s.text(796, 205, "start", danger, "F2")
	s.text(640, 290, "middle", soft, "ground, only through F2 at the pack")
	return s
}

func oneWire() *sheet {
	s := newSheet("one-wire", "The 1-wire run",
		"One line of three conductors from the Pi, with the sensors on short stubs. At the Pi a pull-up of 4.7 kilohms, two resistors of 47 ohms in the supply wire, 470 ohms in the data wire and a suppressor from data to ground. The pack's sensor sits on a cell in the middle of the pack, the air's in the shade.", 820, 330)
	s.heading("1-wire: one line, short stubs, no star")
	s.box(30, 90, 110, 140, tint, "Pi", "GPIO4")
	s.text(150, 104, "start", ink, "3.3 V")
	s.wire(ink, 140, 110, 760, 110)
	s.wire(signal, 140, 160, 760, 160)
	s.text(150, 154, "start", signal, "data")
	s.wire(ink, 140, 210, 760, 210)
	s.text(150, 204, "start", ink, "ground")
	s.dot(205, 110)
	s.dot(205, 160)
	s.wire(ink, 205, 110, 205, 160)
	s.resistor(205, 135, true)
	s.text(190, 140, "end", ink, ohms(circuit.OneWireOhm))
	s.resistor(260, 110, false)
	s.resistor(310, 110, false)
	s.text(285, 92, "middle", ink, "2 × "+ohms(circuit.OneWireFeed))
	s.resistor(260, 160, false)
	s.text(260, 146, "middle", ink, ohms(circuit.OneWireLead))
	s.dot(320, 160)
	s.dot(320, 210)
	s.wire(ink, 320, 160, 320, 210)
	s.box(300, 172, 40, 26, paper, "5 V")
	s.text(346, 190, "start", soft, "suppressor")
	s.dashed(soft, 425, 70, 425, 232)
	s.text(415, 240, "end", soft, "in the box")
	for i, lines := range [][]string{{"pack's sensor", "cell in the middle"}, {"air's sensor", "shade, pack height"}} {
		x := 470 + 190*i
		s.dot(x, 110)
		s.dot(x+15, 160)
		s.dot(x+30, 210)
		s.wire(ink, x, 110, x, 240)
		s.wire(signal, x+15, 160, x+15, 240)
		s.wire(ink, x+30, 210, x+30, 240)
		s.box(x-50, 240, 130, 44, paper, lines...)
	}
	s.text(440, 90, "start", soft, "up to 20 m in all; stubs under 0.5 m")
	s.text(440, 310, "start", soft, "away from the charging cable")
	return s
}

func placing() *sheet {
	s := newSheet("placing", "Where things go",
		"Side view. Within the distance d around the pack's vents nothing may spark or be hot. Hydrogen rises, so the box is low and to the side, outside d, with its cable entry at the bottom and a drip loop. Air comes in low on one side and leaves high on the other.", 820, 400)
	s.heading("Placing: nothing that sparks within d of the vents")
	s.add(`<rect x="30" y="50" width="760" height="310" fill="none" stroke="%s" stroke-width="2"/>`, soft)
	s.add(`<rect x="109" y="142" width="296" height="216" rx="108" fill="%s" stroke="%s" stroke-width="2" stroke-dasharray="7 5"/>`, warm, danger)
	s.box(190, 260, 140, 90, paper, "pack", "lid open")
	for _, x := range []int{210, 250, 290} {
		s.add(`<rect x="%d" y="248" width="14" height="12" fill="%s"/>`, x, soft)
	}
	s.wire(danger, 297, 246, 373, 173)
	s.text(346, 222, "start", danger, "d")
	s.text(260, 112, "middle", danger, "gas zone around every vent: no sparks,", "no hot surface, no relay")
	s.box(560, 250, 130, 80, tint, "box: Pi, relays", "IP65, glands below")
	s.wire(signal, 330, 330, 480, 330, 480, 350, 620, 350, 620, 330)
	s.text(430, 322, "middle", soft, "strain relief")
	s.text(540, 345, "end", soft, "drip loop")
	s.wire(soft, 30, 300, 70, 300)
	s.text(34, 292, "start", signal, "air in, low")
	s.wire(soft, 750, 80, 790, 80)
	s.text(744, 84, "end", signal, "air out, high, opposite")
	s.box(595, 110, 125, 40, paper, "hydrogen sensor")
	s.text(655, 168, "middle", soft, "highest point")
	s.text(40, 384, "start", soft, "d = 28.8 ∛Igas ∛C mm, at least 0.5 m: run bayward airflow. The zone is a sphere, and reaches higher in moving air.")
	return s
}
