package ads1115

import "bayward/sensors/converter"

// The errors of a reading that a caller may handle differently. Every error of
// Read and Probe wraps one of these or the context's error, and the bus's own
// error if there is one.
var (
	ErrNoAnswer   = converter.ErrNoAnswer
	ErrBusStuck   = converter.ErrBusStuck
	ErrNotReady   = converter.ErrNotReady
	ErrOverRange  = converter.ErrOverRange
	ErrLostConfig = converter.ErrLostConfig
	ErrForeign    = converter.ErrForeign
)
