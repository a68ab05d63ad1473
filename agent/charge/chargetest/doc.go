// Package chargetest gives tests charges from published work: the series of
// testdata/data, and the published cell equations behind one of them, driven by
// chargers of every kind. Disturbances can be added.
//
// The equations are those of testdata/data/README.md, section 4: Schiffer, Sauer,
// Bindner, Cronin, Lundsager and Kaiser, J. Power Sources 168 (2007) 66. A test
// compares this integration with the published run of the same equations.
package chargetest
