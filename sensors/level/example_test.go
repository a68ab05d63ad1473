package level_test

import (
	"fmt"
	"log"

	"bayward/sensors/level"
)

func ExampleLoop() {
	probe, err := level.NewLoop(level.LoopOpts{
		ExcitationV: 3.3, PullOhm: 10e3, EndOhm: 10e3,
		Rods:      []level.Rod{{HeightMM: 5, SeriesOhm: 1e3}},
		Tolerance: level.RodTolerance,
	})
	if err != nil {
		log.Fatal(err)
	}
	for _, volts := range []float64{0.28, 1.65, 3.3} {
		span, err := probe.Read(volts)
		fmt.Println(span, err)
	}
	// Output:
	// {5 100} <nil>
	// {-50 5} <nil>
	// {0 0} wire broken
}
