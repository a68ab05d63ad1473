package main

// equivalent lists the mutants that no test can kill, because they behave like
// the code for every possible input. Each has its proof.
var equivalent = []struct{ mutant, why string }{
	{"water: Balance.Step: dt < 0 -> <= #1", "it only sets a time of zero to zero, and a step is counted as the first one either way"},
	{"water: Balance.need: d.highMM > d.likelyMM -> >= #1", "the amounts for the likely level are at most what fits between it and the ceiling, so that room takes nothing off, but for rounding"},
	{"interlock: judgeVoltage: v.Value < lowClearV -> <= #1", "the case above has already cleared a value of lowClearV"},
	{"interlock: judgeVoltage: v.Value > hiClear -> >= #1", "the case above has already cleared a value of hiClear"},
	{"interlock: elapsed: d < 0 -> <= #1", "a difference of zero means equal times, and then now > since is false"},
	{"interlock: Interlock.RestoreBad: c > NoCode -> >= #1", "no row has NoCode, so its raise time is zero, and the count is bounded by that"},
	{"ammeter: Meter.learn: apart > 0 -> >= #1", "the cases above have taken every zero that is the same, so they are apart"},
	{"alive: Watch.followDrop: i < r.n -> <= #1", "a figure that was not taken is of no current, from which a current that shows differs by more than its share"},
	{"alive: Watch.doubtWarmth: true -> false #1", "what follows in the same tick ends only a doubt of not moving, and both sensors are doubted as exchanged"},
	{"interlock: elapsed: now > since -> >= #1", "for equal times the difference is zero, and then d < 0 is false"},
	{"charge: plateau.judgeHalfHours: false -> true #2", "nobody asks whether to hold back evidence that there is none of"},
	{"charge: plateau.judgeHalfHours: false -> true #3", "nobody asks whether to hold back evidence that there is none of"},
	{"charge: plateau.judgeHalfHours: false -> true #5", "nobody asks whether to hold back evidence that there is none of"},
	{"charge: plateau.judgeHalfHours: false -> true #7", "nobody asks whether to hold back evidence that there is none of"},
	{"charge: plateau.judgeHalfHours: false -> true #8", "nobody asks whether to hold back evidence that there is none of"},
	{"charge: plateau.judgeHalfHours: false -> true #9", "nobody asks whether to hold back evidence that there is none of"},
	{"charge: plateau.spans: k < perThird -> <= #1", "a half hour ends with the marks 2, 5 and 8"},
	{"charge: plateau.spans: k > perThird -> >= #1", "a half hour ends with the marks 2, 5 and 8"},
	{"charge: Tracker.watchRest: false -> true #3", "the first hour of a rest shows no charge, and the first half hour sets this again"},
}
