package main

import (
	"fmt"

	"bayward/deploy/wiring/circuit"
)

func relay() *sheet {
	s := newSheet("relay", "Charge-enable: relay, watchdog, feedback and the independent cut-off",
		"The Pi's line drives the coil of relay K1 through an optocoupler and a transistor, with a pull-down; the watchdog drives the coil of KW. A diode is across each coil. In the control circuit the pilot pins of the pack's plug, a contact of K1, a contact of KW and the coil of contactor Q1 are in series; or the same contacts close the charger's remote enable. Q1's mirror contact returns to the Pi through an optocoupler at 24 volts. The independent cut-off has its own supply and acts on a second switching element, Q2, in the charger's supply.", 860, 640)
	s.heading("Charge-enable: everything open without power")
	s.box(30, 60, 110, 300, tint)
	s.text(46, 84, "start", ink, "Pi")
	s.text(130, 114, "end", ink, "GPIO17")
	s.text(130, 214, "end", ink, "GPIO27")
	s.text(130, 324, "end", ink, "GPIO23")
	s.wire(signal, 140, 110, 330, 110)
	s.dot(180, 110)
	s.wire(ink, 180, 110, 180, 150)
	s.resistor(180, 136, true)
	s.text(196, 150, "start", soft, ohms(circuit.DownOhm))
	s.ground(180, 154)
	s.resistor(270, 110, false)
	s.text(270, 92, "middle", ink, ohms(circuit.DriveOhm))
	s.box(330, 85, 140, 50, paper, "optocoupler", "and transistor")
	s.coil(110, "coil K1")
	s.wire(signal, 140, 210, 330, 210)
	s.text(150, 204, "start", signal, "heartbeat")
	s.box(330, 185, 140, 50, paper, "watchdog,", "as drawn below")
	s.coil(210, "coil KW")
	s.text(330, 254, "start", soft, "drops 4 to 10 s after the last edge")
	s.wire(signal, 140, 320, 330, 320)
	s.box(330, 295, 140, 50, paper, "optocoupler,", "as at every contact")
	s.wire(signal, 470, 320, 562, 320)
	s.contact(580, 320, true)
	s.wire(signal, 598, 320, 716, 320)
	s.terminal(720, 320)
	s.text(732, 325, "start", soft, "+24 V")
	s.text(580, 346, "middle", signal, "mirror contact of Q1")
	s.charger()
	return s
}

// coil draws a relay's coil with its diode, from the driver's box to 12 V.
func (s *sheet) coil(y int, name string) {
	s.wire(ink, 470, y, 540, y)
	s.box(540, y-20, 90, 40, paper, name)
	s.wire(ink, 630, y, 716, y)
	s.terminal(720, y)
	s.text(732, y+5, "start", soft, "+12 V")
	s.dot(505, y)
	s.dot(665, y)
	s.wire(ink, 505, y, 505, y-44, 665, y-44, 665, y)
	s.add(`<path d="M577,%d v16 l16,-8 z" fill="%s" stroke="%s" stroke-width="2"/>`, y-52, paper, ink)
	s.wire(ink, 593, y-52, 593, y-36)
}

// charger draws the charger's own side, with the control circuit and the two switching
// elements.
func (s *sheet) charger() {
	s.add(`<rect x="20" y="390" width="820" height="240" rx="8" fill="%s"/>`, warm)
	s.text(30, 412, "start", danger, "charger and mains: licensed electrician only")
	s.text(40, 446, "start", soft, "control circuit of Q1, or the charger's remote enable")
	s.terminal(60, 480)
	s.wire(danger, 64, 480, 112, 480)
	for _, c := range []struct {
		x      int
		closed bool
		name   []string
	}{{130, true, []string{"pilot pins", "of the plug"}}, {240, false, []string{"K1"}}, {350, false, []string{"KW"}}} {
		s.contact(c.x, 480, c.closed)
		s.text(c.x, 500, "middle", ink, c.name...)
		s.wire(danger, c.x+18, 480, c.x+92, 480)
	}
	s.box(442, 460, 130, 40, paper, "coil Q1")
	s.wire(danger, 572, 480, 696, 480)
	s.terminal(700, 480)
	s.dot(420, 480)
	s.dot(600, 480)
	s.wire(ink, 420, 480, 420, 436, 600, 436, 600, 480)
	s.box(450, 422, 114, 28, paper, "suppressor")

	s.terminal(60, 560)
	s.text(60, 546, "middle", danger, "mains")
	s.wire(danger, 64, 560, 112, 560)
	s.contact(130, 560, true)
	s.text(130, 538, "middle", ink, "Q2")
	s.wire(danger, 148, 560, 260, 560)
	s.box(260, 540, 120, 40, paper, "charger")
	s.wire(danger, 380, 560, 472, 560)
	s.contact(490, 560, false)
	s.text(490, 536, "middle", ink, "Q1")
	s.wire(danger, 508, 560, 600, 560)
	s.box(600, 540, 100, 40, paper, "pack")
	s.box(40, 588, 330, 34, paper, "independent cut-off, own supply: coil of Q2")
	s.dashed(soft, 130, 588, 130, 566)
}

func watchdog() *sheet {
	s := newSheet("watchdog", "A watchdog relay from parts",
		"The heartbeat's edges pass two capacitors of 47 microfarads in series; 10 kilohms empty them between two edges. Two diodes pump the charge into a reservoir of 10 microfarads, which two resistors of 1.82 megohms in parallel discharge. A comparator with a reference of 0.95 volts drives the relay's coil through an optocoupler and a transistor while the reservoir is above it. A diode is across the coil.", 880, 360)
	s.heading("Watchdog relay from parts: only edges keep it closed")
	s.terminal(40, 130)
	s.text(40, 114, "middle", signal, "GPIO27")
	s.wire(signal, 44, 130, 520, 130)
	s.resistor(90, 130, false)
	s.text(90, 112, "middle", ink, ohms(circuit.PumpOhm))
	s.box(125, 115, 28, 30, paper, "C1")
	s.box(170, 115, 28, 30, paper, "C1")
	s.text(162, 104, "middle", soft, fmt.Sprintf("2 × %s, 25 V", farads(circuit.PumpF)))
	s.dot(215, 130)
	s.wire(ink, 215, 130, 215, 260)
	s.resistor(215, 190, true)
	s.text(200, 195, "end", ink, ohms(circuit.DrainOhm))
	s.dot(255, 130)
	s.wire(ink, 255, 130, 255, 260)
	s.diode(255, 190)
	s.text(270, 195, "start", ink, "D1")
	s.box(295, 115, 40, 30, paper, "D2 →")
	s.dot(360, 130)
	s.wire(ink, 360, 130, 360, 260)
	s.box(346, 175, 28, 30, paper, "C2")
	s.text(380, 195, "start", soft, farads(circuit.ReservoirF))
	s.dot(450, 130)
	s.wire(ink, 450, 130, 450, 260)
	s.resistor(450, 190, true)
	s.text(464, 206, "start", soft, fmt.Sprintf("2 × %.4g MΩ,", circuit.BleedOhm/1e6), "parallel")
	s.box(520, 105, 110, 70, tint, "comparator,", "CMOS, above", fmt.Sprintf("%.2f V", circuit.RailV*circuit.ReferenceShare))
	s.wire(ink, 590, 175, 590, 260)
	s.wire(signal, 630, 140, 680, 140)
	s.resistor(655, 140, false)
	s.text(655, 122, "middle", ink, ohms(circuit.DriveOhm))
	s.box(680, 110, 110, 60, paper, "optocoupler", "and transistor")
	s.box(690, 52, 90, 36, paper, "coil KW")
	s.wire(ink, 735, 88, 735, 110)
	s.wire(ink, 780, 70, 826, 70)
	s.terminal(830, 70)
	s.text(830, 56, "middle", soft, "+12 V")
	s.text(680, 46, "end", soft, "diode across it")
	s.wire(ink, 40, 260, 735, 260, 735, 170)
	s.ground(40, 260)
	s.text(40, 306, "start", soft, "KW's contact is in series with K1's contact. C1 and C2 within 10 %, C2 film, resistors 1 %;", "D1 and D2 silicon, leakage below 10 nA. The comparator's supply is the Pi's 3.3 V.", "An electrolytic C1 has its plus on the side of GPIO27.", "Reference: 24.9 kΩ and 10 kΩ from 3.3 V.")
	return s
}

func contacts() *sheet {
	s := newSheet("contact", "How every contact reaches the Pi",
		"24 volts feed the contact through 3.9 kilohms and the diode of an optocoupler, with a second diode against it. The optocoupler's transistor pulls the Pi's line down through 1 kilohm while the contact is closed; 10 kilohms pull the line up to 3.3 volts.", 820, 350)
	s.heading("Every contact: mirror contact, airflow switch, charger's contact")
	s.dashed(danger, 500, 50, 500, 310)
	s.text(490, 70, "end", danger, "field wiring, up to mains potential")
	s.text(510, 70, "start", soft, "the Pi")
	s.terminal(50, 130)
	s.text(50, 114, "middle", soft, "+24 V")
	s.wire(danger, 54, 130, 182, 130)
	s.resistor(110, 130, false)
	s.text(110, 112, "middle", ink, ohms(circuit.FieldOhm))
	s.contact(200, 130, false)
	s.text(200, 154, "middle", ink, "the contact")
	s.wire(danger, 218, 130, 470, 130)
	s.dot(360, 130)
	s.wire(ink, 360, 130, 360, 250)
	s.diode(360, 190)
	s.text(346, 195, "end", ink, "against it")
	s.wire(ink, 470, 130, 470, 250)
	s.wire(danger, 50, 250, 470, 250)
	s.terminal(50, 250)
	s.text(50, 236, "middle", soft, "0 V of 24 V")
	s.box(440, 160, 120, 60, paper, "optocoupler,", "reinforced")
	s.wire(signal, 560, 175, 700, 175)
	s.resistor(600, 175, false)
	s.text(600, 157, "middle", ink, ohms(circuit.PinOhm))
	s.dot(650, 175)
	s.wire(ink, 650, 175, 650, 100)
	s.resistor(650, 135, true)
	s.text(664, 130, "start", ink, ohms(circuit.PullUpOhm))
	s.terminal(650, 96)
	s.text(664, 100, "start", soft, "3.3 V of the Pi")
	s.box(700, 155, 90, 40, tint, "GPIO23")
	s.wire(ink, 560, 205, 600, 205, 600, 250)
	s.ground(600, 250)
	s.text(50, 330, "start", soft, "closed: the line is low (active_low: true), and 5.8 mA keep the contact clean")
	return s
}
