package electrolyte_test

import (
	"fmt"

	"bayward/agent/electrolyte"
)

// A 24 V pack of 225 Ah at the end of a charge: 2.60 V per cell, 38 °C, 9 A.
func ExampleGassingCurrentA() {
	law := electrolyte.GassingCurrentA(225, 2.60, 38)
	gassing := electrolyte.BoundGassingA(law, 9, true)
	fmt.Printf("law %.1f A, full pack %.1f A, %.1f mL of water per cell in 2 h\n", law, gassing, electrolyte.WaterML(2*gassing))
	// Output: law 5.8 A, full pack 9.0 A, 6.1 mL of water per cell in 2 h
}

// The same pack after a night's rest.
func ExampleStateOfChargeFromRest() {
	soc, plusMinus, ok := electrolyte.StateOfChargeFromRest(25.2/12, 18, 1.277, 14)
	fmt.Printf("%.2f ± %.2f, %v\n", soc, plusMinus, ok)
	// Output: 0.85 ± 0.11, true
}
