package level_test

import (
	"fmt"
	"log"

	"bayward/sensors/level"
)

func ExampleLoop() {
	probe, err := level.NewLoop(level.LoopOpts{
		ReferenceOhm: 10e3, EndOhm: 47e3,
		Rods:      []level.Rod{{HeightMM: 5, SeriesOhm: 4.7e3}},
		Tolerance: level.RodTolerance,
	})
	if err != nil {
		log.Fatal(err)
	}
	for _, s := range []level.Signal{
		{ // 4.3 kΩ, and 10 mV that the pulses leave on the rod's double layer
			Forward: level.Pulse{ProbeV: 0.58, ReferenceV: 1.36, RestV: 0.01},
			Reverse: level.Pulse{ProbeV: -0.58, ReferenceV: -1.36, RestV: -0.01},
		},
		{Forward: level.Pulse{ProbeV: 2.31, ReferenceV: 0.49}, Reverse: level.Pulse{ProbeV: -2.31, ReferenceV: -0.49}}, // 47 kΩ
		{Forward: level.Pulse{ProbeV: 3.3}, Reverse: level.Pulse{ProbeV: -3.3}},                                        // no current
	} {
		span, err := probe.Read(&s)
		fmt.Println(span, err)
	}
	// Output:
	// {5 100} <nil>
	// {-50 5} <nil>
	// {0 0} wire broken
}
