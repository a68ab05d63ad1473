package sim

// expander is one TCA9534 at register level (data sheet SCPS197): input, output,
// polarity, configuration. After power-on every pin is an input.
type expander struct {
	bay  *Stand
	regs [4]byte
	at   byte
}

func newExpander(y *Stand) *expander { return &expander{bay: y, regs: [4]byte{0, 0xff, 0, 0xff}} }

func (e *expander) write(w []byte) {
	if len(w) == 0 {
		return
	}
	e.at = w[0] & 3
	if len(w) < 2 || e.at == 0 {
		return
	}
	e.regs[e.at] = w[1]
	if probe, ok := e.bay.probe.(pulsed); ok {
		probe.drive(e.regs[1], ^e.regs[3], e.bay.plight())
	}
}

func (e *expander) read(r []byte) {
	for i := range r {
		r[i] = e.regs[e.at]
	}
}
