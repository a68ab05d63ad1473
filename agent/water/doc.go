// Package water turns the electrolyte level into millilitres per cell, keeps
// the balance of water lost by gassing, and forecasts when the charge cover is
// reached. It is pure.
package water
