package main

// The drawings of converters.md.

func spi() *sheet {
	s := newSheet("spi", "A converter on SPI",
		"Four lines lead from the Pi through an isolator to a converter on the pack's potential: clock, data in, chip select, and data out in the other direction. On the converter's side a resistor of 10 kilohms pulls the data output up to the converter's supply.", 820, 330)
	s.heading("SPI: three lines there, one back, and a pull-up that shows a missing chip")
	s.box(30, 80, 120, 200, tint, "Pi", "SPI0")
	s.box(330, 70, 110, 220, tint, "isolator", "3 + 1", "channels")
	s.box(640, 80, 140, 200, warm, "converter", "on the pack's", "potential")
	for i, line := range []string{"clock, GPIO11", "data in, GPIO10", "select, GPIO8"} {
		y := 110 + 40*i
		s.text(160, y-6, "start", signal, line)
		s.wire(signal, 150, y, 330, y)
		s.wire(signal, 440, y, 640, y)
		s.text(630, y-6, "end", soft, "→")
	}
	s.text(160, 244, "start", signal, "data out, GPIO9")
	s.wire(signal, 150, 250, 330, 250)
	s.wire(signal, 440, 250, 640, 250)
	s.text(630, 244, "end", soft, "←")
	s.dot(520, 250)
	s.wire(ink, 520, 250, 520, 60)
	s.resistor(520, 215, true)
	s.text(536, 220, "start", ink, "10 kΩ")
	s.text(520, 54, "middle", ink, "supply of the converter")
	s.text(30, 316, "start", soft, "Pulled up, a chip that is not there reads as ones; a line held low as zeros.")
	return s
}

func modbus() *sheet {
	s := newSheet("modbus", "Devices on a Modbus line",
		"From the Pi's USB an isolated RS-485 adapter leads one twisted pair and a reference wire past the devices, from one to the next, without stubs. A resistor of 120 ohms is across the pair at both ends.", 820, 300)
	s.heading("Modbus on RS-485: one pair from device to device, 120 Ω at both ends")
	s.box(30, 90, 80, 120, tint, "Pi", "USB")
	s.box(150, 90, 120, 120, tint, "RS-485", "adapter,", "isolated")
	s.wire(ink, 110, 150, 150, 150)
	s.wire(signal, 270, 110, 780, 110)
	s.wire(signal, 270, 150, 780, 150)
	s.wire(ink, 270, 190, 760, 190)
	s.text(280, 104, "start", signal, "A")
	s.text(280, 144, "start", signal, "B")
	s.text(280, 184, "start", ink, "reference")
	for _, x := range []int{380, 780} {
		s.dot(x, 110)
		s.dot(x, 150)
		s.wire(signal, x, 110, x, 150)
		s.resistor(x, 130, true)
	}
	s.text(396, 134, "start", ink, "120 Ω")
	s.text(764, 134, "end", ink, "120 Ω")
	for i, lines := range [][]string{{"meter", "unit 1"}, {"gas sensor", "unit 3"}, {"charger", "unit 5"}} {
		x := 450 + 110*i
		s.dot(x, 110)
		s.dot(x+15, 150)
		s.dot(x+30, 190)
		s.wire(signal, x, 110, x, 215)
		s.wire(signal, x+15, 150, x+15, 215)
		s.wire(ink, x+30, 190, x+30, 215)
		s.box(x-30, 215, 96, 44, paper, lines...)
	}
	s.text(30, 286, "start", soft, "Read only: nothing is ever written to a device, and no device closes the relay.")
	return s
}
