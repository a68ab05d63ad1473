package web

import "fmt"

const (
	mmPerInch = 25.4 // exact: NIST SP 811, appendix B
	// mlPerFluidOunce is the US fluid ounce: NIST SP 811, appendix B.
	mlPerFluidOunce = 29.57353
)

// units writes values for people. US customary values keep the SI value beside
// them where a person measures it out.
type units struct{ us bool }

func unitsOf(name string) units { return units{us: name == "us"} }

func (u units) temperature(c float64) string {
	if u.us {
		return fmt.Sprintf("%.0f °F", c*9/5+32)
	}
	return fmt.Sprintf("%.1f °C", c)
}

// cover shows both bounds where the probe proves only a span.
func (u units) cover(lowMM, highMM float64) string {
	one := func(mm float64) string {
		if u.us {
			return fmt.Sprintf("%.2f in", mm/mmPerInch)
		}
		return fmt.Sprintf("%.0f mm", zeroedMM(mm))
	}
	if highMM-lowMM < 0.5 {
		return one(lowMM)
	}
	return one(lowMM) + " to " + one(highMM)
}

// zeroedMM has no "-0"; a cover just below the plate tops rounds to -1, since
// bare plates must not read as 0.
func zeroedMM(mm float64) float64 {
	switch {
	case mm > -0.005 && mm < 0.5:
		return 0
	case mm < 0 && mm > -1:
		return -1
	}
	return mm
}

func (u units) volume(ml float64) string {
	if u.us {
		return fmt.Sprintf("%.1f fl oz (%.0f ml)", ml/mlPerFluidOunce, ml)
	}
	return fmt.Sprintf("%.0f ml", ml)
}
