// Package chargetest gives tests charges that no one here made up: the series
// of testdata/data, and the published cell equations behind one of them, driven
// by chargers of every kind. Disturbances can be laid on top.
//
// The equations are those of testdata/data/README.md, section 4: Schiffer, Sauer,
// Bindner, Cronin, Lundsager and Kaiser, J. Power Sources 168 (2007) 66. A test
// holds this integration against the published run of the same equations.
package chargetest
