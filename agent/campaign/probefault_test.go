package campaign

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/deploy/wiring/circuit"
	"bayward/sensors/level"
)

// pulseBoard is a level probe with test pulses. Its readings are whole measurements of
// several states of one circuit, so they are calculated here, and read by the driver's
// own judge. That a reading without a level blocks within two seconds, and one of bare
// plates too, is shown by TestCampaign.
type pulseBoard struct {
	title string
	rodMM float64
	probe func(t *testing.T) level.Probe
	parts *circuit.Circuit
	// signal is what is read of the circuit with a fault.
	signal func(t *testing.T, f circuit.Fault, wet bool, leak int) (s *level.Signal, supplied bool)
}

var pulseBoards = []pulseBoard{
	{
		title: "Level probe of rods", rodMM: 3, parts: circuit.Rods(circuit.Pins{}, true, 0),
		probe: func(t *testing.T) level.Probe {
			p, err := level.NewLoop(level.LoopOpts{
				ReferenceOhm: circuit.ReferenceOhm, EndOhm: circuit.RodEndOhm, Tolerance: level.RodTolerance,
				Rods: []level.Rod{{HeightMM: 3, SeriesOhm: circuit.RodSeriesOhm}},
			})
			require.NoError(t, err)
			return p
		},
		signal: rodSignal,
	},
	{
		title: "Potential probe", rodMM: 3, parts: circuit.Potential(0, true, potentialV),
		probe: func(t *testing.T) level.Probe {
			p, err := level.NewPotential(level.PotentialOpts{
				PulseV: circuit.RailV, PulseOhm: circuit.PotentialPulseOhm, EndOhm: circuit.PotentialEndOhm, Cells: 6,
				Rod: level.Rod{HeightMM: 3, SeriesOhm: 2 * circuit.PotentialSeriesOhm},
			})
			require.NoError(t, err)
			return p
		},
		signal: potentialSignal,
	},
}

// potentialV is of six cells of 2.12 V.
const potentialV = 6 * 2.12

// failing returns a circuit with a fault and leaking diodes, solved.
func failing(t *testing.T, c *circuit.Circuit, f circuit.Fault, leak int) *circuit.State {
	t.Helper()
	c = c.With(f.Part.Name, f.Failure)
	for i := range c.Parts {
		switch p := &c.Parts[i]; {
		case strings.HasPrefix(p.Name, "diode to the supply") && p.Kind == circuit.Diode:
			p.LeakA = leaks[leak].up
		case strings.HasPrefix(p.Name, "diode from ground") && p.Kind == circuit.Diode:
			p.LeakA = leaks[leak].down
		}
	}
	s, err := c.Solve()
	require.NoError(t, err)
	return s
}

// supplied reports whether a converter works (SBAS444E: 2 V at least).
func supplied(s *circuit.State) bool { return s.Volts("rail", "gnd") > 2 }

// rodSignal reads pulses of both polarities. A wet rod has 5 mV of its own, and each
// pulse leaves 15 mV on its double layer.
func rodSignal(t *testing.T, f circuit.Fault, wet bool, leak int) (*level.Signal, bool) {
	rail, none := circuit.RailV, 0.0
	s, ok := &level.Signal{}, true
	for _, side := range []struct {
		under, after circuit.Pins
		left         float64
		into         *level.Pulse
	}{
		{circuit.Pins{P0: &rail, P1: &none}, circuit.Pins{P1: &none}, 0.015, &s.Forward},
		{circuit.Pins{P0: &none, P1: &rail}, circuit.Pins{P1: &none}, -0.015, &s.Reverse},
	} {
		under := failing(t, circuit.Rods(side.under, wet, 0.005), f, leak)
		after := failing(t, circuit.Rods(side.after, wet, 0.005+side.left), f, leak)
		ok = ok && supplied(under) && supplied(after)
		*side.into = level.Pulse{ProbeV: under.Volts("a0", "a1"), ReferenceV: under.Volts("a1", "a3"), RestV: after.Volts("a0", "a1")}
	}
	return s, ok
}

func potentialSignal(t *testing.T, f circuit.Fault, wet bool, leak int) (*level.Signal, bool) {
	rest := failing(t, circuit.Potential(0, wet, potentialV), f, leak)
	pulse := failing(t, circuit.Potential(circuit.RailV, wet, potentialV), f, leak)
	return &level.Signal{Volts: rest.Volts("in", "gnd"), Forward: level.Pulse{ProbeV: pulse.Volts("in", "gnd")}}, supplied(rest) && supplied(pulse)
}

// reads returns what a probe with a fault reads, wet or dry.
func (b *pulseBoard) reads(t *testing.T, f circuit.Fault, wet bool, leak int) (text string, high bool) {
	t.Helper()
	signal, ok := b.signal(t, f, wet, leak)
	if !ok {
		return "no answer", false
	}
	span, err := b.probe(t).Read(signal)
	switch {
	case err != nil:
		what, _, _ := strings.Cut(err.Error(), ":")
		return what, false
	case span.LowMM >= b.rodMM:
		return "wet", true
	default:
		return "dry", false
	}
}

// foundByHand are faults without a difference in any reading, for which a person looks.
var foundByHand = map[string]string{
	"Level probe of rods, C1 short": "no reading differs. An ohmmeter across C1, the Pi off and the probe's plug pulled: it must rise above 1 MΩ. " +
		"Until then a program that dies in a pulse, and is not started again, leaves 0.14 mA on the rods: they are formed in minutes, and read `two-metals`, blocked",
}

// writeProbes writes what the single faults of probes with test pulses read as. No fault
// makes a dry probe read as wet.
func writeProbes(t *testing.T, doc *strings.Builder) {
	t.Helper()
	n := 0
	for i := range pulseBoards {
		b := &pulseBoards[i]
		for _, wet := range []bool{true, false} {
			text, _ := b.reads(t, circuit.Fault{}, wet, 0)
			require.Equal(t, map[bool]string{true: "wet", false: "dry"}[wet], text, b.title)
		}
		fmt.Fprintf(doc, "\n## %s\n\n| part | fails | wet, it reads | dry, it reads | found | after |\n| --- | --- | --- | --- | --- | --- |\n", b.title)
		for _, f := range b.parts.Faults() {
			n++
			var row [2]string
			for leak := range leaks {
				wet, _ := b.reads(t, f, true, leak)
				dry, high := b.reads(t, f, false, leak)
				require.False(t, high, "%s, %s %v: a dry probe reads as wet", b.title, f.Part.Name, f.Failure)
				if leak == 0 || row == [2]string{"wet", "dry"} {
					row = [2]string{wet, dry}
				}
			}
			found, after := "`level-unknown`, blocked", "2 s"
			switch row[0] {
			case "wet":
				found, after = protection, ""
				if row[1] != "dry" {
					found = "nothing while it is wet; `level-unknown` instead of a dry rod"
				}
				if by := foundByHand[fmt.Sprintf("%s, %s %v", b.title, f.Part.Name, f.Failure)]; by != "" && row[1] == "dry" {
					found, after = by, "once a year"
				}
			case "dry":
				found = "`plates-bare`, blocked"
			}
			fmt.Fprintf(doc, "| %s | %v | %s | %s | %s | %s |\n", f.Part.Name, f.Failure, row[0], row[1], found, after)
		}
	}
	t.Logf("figure: single faults of probes with test pulses %d", n)
}
