package broker

// What the tests of topic filters call.
var (
	Matches     = matches
	ValidFilter = validFilter
)
