package main

// equivalent lists the mutants that no test can kill, because they behave like
// the code for every possible input. Each has its proof.
var equivalent = []struct{ mutant, why string }{
	{"interlock: judgeVoltage: v.Value < lowClearV -> <= #1", "the case above has already cleared a value of lowClearV"},
	{"interlock: judgeVoltage: v.Value > hiClear -> >= #1", "the case above has already cleared a value of hiClear"},
	{"interlock: elapsed: d < 0 -> <= #1", "a difference of zero means equal times, and then now > since is false"},
	{"interlock: elapsed: now > since -> >= #1", "for equal times the difference is zero, and then d < 0 is false"},
}
