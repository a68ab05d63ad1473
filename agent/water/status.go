package water

import "math"

// MaxCells is the highest number of cells of a pack: an 80 V pack has 40.
const MaxCells = 48

// ForecastCoverage is the target share of forecasts whose true date is between
// Status.ForecastLo and Status.ForecastHi.
const ForecastCoverage = 0.90

// Status is the state of the water after a tick. Arrays use their first Cells
// elements; lengths are millimetres above the plate tops at 25 °C with no gas in
// the electrolyte, volumes are millilitres per cell.
type Status struct {
	Cells      int
	Known      bool // a settled level is known
	SettledMM  float64
	RiseMM     float64 // how much higher a level is now than settled, by heat and gas; valid with RiseKnown
	RiseKnown  bool    // the temperature is known
	LowMM      float64 // lowest settled level that any cell is likely to have
	LowCell    int     // that cell, 1 is the positive end; valid with Known
	LowHighMM  float64 // the highest that the lowest cell's settled level may be; valid with SurelyOK
	SurelyMM   float64 // careful lower bound of all cells' settled levels; valid with SurelyOK
	SurelyCell int     // the cell with that bound
	SurelyOK   bool
	NeverRead  bool    // there is nothing to count that cell's level from
	ReadAgeH   float64 // hours since that cell was read, or since the pack is known here
	ReadDue    bool    // somebody must read the cells of ReadAsk within days
	ReadDueH   float64 // hours until that bound is at the plate tops; valid with ReadDueOK
	ReadDueOK  bool
	// UnrecordedMM is how far the pilot's level has risen, since the last recorded water,
	// by water that nobody recorded.
	UnrecordedMM float64
	// ReadOffMM is how far the last level readings in the probe's cell are above the
	// probe, on average, if all of them err to that side; 0 if not.
	ReadOffMM float64
	Doubts    CellSet // cells whose careful lower bound is not clear of the plate tops
	Unseen    CellSet // cells filled to the mark that no reading has shown since
	Unsure    CellSet // cells whose likely level is too uncertain to pour by
	ReadAsk   CellSet // cells to read at the next visit, see ReadFirst
	// HeldMM is by how much gas among the plates raised the level in the last charges;
	// valid with HeldOK.
	HeldMM    float64
	HeldOK    bool
	CeilingMM float64 // highest settled level that stays below the bottom of the vent well when hot
	TotalML   float64 // NeedML of all cells
	Due       bool    // the pack needs water: enough for a visit
	LostML    float64 // per cell since the last fill, by Faraday's law
	// LostLikelyML is the same as far as the measured level corrects the gassing law, in the
	// mean of the cells; LostLoML and LostHiML are the ends of its range, see
	// ForecastCoverage.
	LostLikelyML, LostLoML, LostHiML float64
	LostTotal                        float64 // per cell since the memory began
	PredictMM                        float64 // settled level by the balance; valid with PredictOK
	PredictOK                        bool
	ApartMM                          float64 // measured less predicted; valid with PredictOK
	ForecastH                        float64 // hours until the lowest level for charging is reached; valid with ForecastOK
	ForecastLo                       float64 // early end of its range, see ForecastCoverage
	ForecastHi                       float64 // late end of its range
	ForecastOK                       bool
	Visits                           int     // visits with recorded water since the memory began
	Bare                             CellSet // cells that are bare by the record, see Balance.Bare
	Over                             CellSet // cells that were filled over their ceiling, see Balance.Overfill
	Doubted                          uint64  // bit n: the last level reading of cell n+1 disagrees with its estimate

	// ReadFirst are the cells of ReadAsk, the worst first.
	ReadFirst [MaxCells]uint8

	// By cell.
	LevelMM       [MaxCells]float64 // settled level, measured or estimated
	NeedML        [MaxCells]float64 // to the fill mark, never past the ceiling
	CoverPlatesML [MaxCells]float64 // covers the plates: to the lowest level for charging, never past the ceiling
	OddRatio      [MaxCells]float64 // water taken over the median of the cells; 0: not odd
}

// WholeML is the need of all cells as people are told it: each cell's rounded
// down to a whole millilitre, since too little can be topped up.
func (s *Status) WholeML() float64 {
	total := 0.0
	for _, ml := range s.NeedML[:s.Cells] {
		total += math.Floor(ml)
	}
	return total
}

// CeilingNowMM returns the highest level, as a level rod shows it now, that stays
// below the bottom of the vent well when hot. It is what people read and at which
// the core asks; without a temperature it is that at 25 °C.
func (s *Status) CeilingNowMM() float64 {
	if !s.RiseKnown {
		return s.CeilingMM
	}
	return s.CeilingMM + s.RiseMM
}

// DoubtedCells lists the cells whose last level reading needs a second one.
func (s *Status) DoubtedCells() []int {
	var out []int
	for i := range s.Cells {
		if s.Doubted&(1<<i) != 0 {
			out = append(out, i+1)
		}
	}
	return out
}
