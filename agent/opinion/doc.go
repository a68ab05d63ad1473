// Package opinion is tests only: a second opinion on the promise that the charge
// runs only while everything is known to be in order. Its oracle judges the truth of
// a simulated yard and not what the core found, and it is written from the promise
// alone: the package imports agent/bay to step it, agent/reading and agent/order for
// its words, and no rule. Its physics comes from published figures, not from the
// core's chemistry and not from sensors/sim.
//
// A play is evidence that is wrong in a way that the trade knows: a probe that
// sticks, a cell that uses more water than its neighbours, readings that always err
// to one side, a loose wire. Each play has a time for which a charge may be granted
// although it must not run. The hazard log has it, agent/interlock/hazards.md,
// and a test holds the two together.
//
// A test run takes some weeks of each yard, about a million steps. The long form
// takes that many years, with 40 honest packs; random yards have a number of their own:
//
//	BAYWARD_OPINION=2 go test ./agent/opinion -v -timeout 2h
//	BAYWARD_RANDOM=300 go test ./agent/opinion -run RandomYards -v -timeout 2h
package opinion
