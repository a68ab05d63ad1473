package main

// equivalent lists the mutants that no test can kill, since they do the same
// as the code for everything that can come in. Each has its proof.
var equivalent = []struct{ mutant, why string }{
	{"judgeVoltage: v.Value < lowClearV -> <= #1", "a value of lowClearV has been clear in the case above"},
	{"judgeVoltage: v.Value > hiClear -> >= #1", "a value of hiClear has been clear in the case above"},
	{"elapsed: d < 0 -> <= #1", "a difference of zero is of equal times, and then now > since is false"},
	{"elapsed: now > since -> >= #1", "of equal times the difference is zero, and then d < 0 is false"},
	{"Restore: c > NoCode -> >= #1", "row 0 of the table is empty and does not latch"},
}
