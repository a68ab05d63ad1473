package deploy_test

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// costs is where figures are recorded; other documents may quote them.
const costs = "bench/costs.md"

// quoted are the figures that a document quotes: the words around its number, the
// row of costs.md and the column, 3 for one bay and 4 for eight, and which of the
// figures of a cell that semicolons part.
var quoted = []struct {
	file, words, row string
	column, part     int
}{
	{"../README.md", `([0-9.]+) MiB of memory`, "memory (PSS) a minute after the start", 4, 0},
	{"../README.md", `([0-9.]+) % of a core`, "CPU at one tick a second", 4, 0},
	{"../README.md", `([0-9.]+) ms of CPU a scrape`, "CPU of a scrape", 4, 0},
	{"../README.md", `([0-9.]+) MB a day to the broker`, "to the broker, when idle", 4, 0},
	{"fleet.md", `\| ([0-9.]+) MB a day \| [0-9.]+ MB a day \|`, "to the broker, when idle", 3, 0},
	{"fleet.md", `\| [0-9.]+ MB a day \| ([0-9.]+) MB a day \|`, "to the broker, when idle", 4, 0},
	{"fleet.md", `agents x ([0-9.]+) MB / 86,400 s`, "to the broker, when idle", 4, 0},
	{"fleet.md", `\| ([0-9]+) series \|`, "series; bytes of a scrape", 3, 0},
	{"fleet.md", `\| ([0-9]+) series:`, "series; bytes of a scrape", 4, 0},
	{"fleet.md", `agents x ([0-9]+) \|`, "series; bytes of a scrape", 4, 0},
	{"fleet.md", `\| ([0-9]+) kB \| [0-9]+ kB \|`, "series; bytes of a scrape", 3, 1},
	{"fleet.md", `\| [0-9]+ kB \| ([0-9]+) kB \|`, "series; bytes of a scrape", 4, 1},
	{"fleet.md", `agents x ([0-9]+) kB / 60`, "series; bytes of a scrape", 4, 1},
}

var number = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)

// TestFiguresAgree: a figure is recorded once, in costs.md. Whoever quotes it quotes
// what is recorded there: between the ends of its range, or rounded.
func TestFiguresAgree(t *testing.T) {
	rows := map[string][]string{}
	for line := range strings.Lines(readFile(t, costs)) {
		if cells := strings.Split(line, "|"); len(cells) > 5 {
			rows[strings.TrimSpace(cells[1])] = cells
		}
	}
	for _, q := range quoted {
		said := regexp.MustCompile(q.words).FindStringSubmatch(readFile(t, q.file))
		if said == nil || rows[q.row] == nil {
			t.Errorf("%s says nothing like %s, or %s has no row %q", q.file, q.words, costs, q.row)
			continue
		}
		recorded := strings.Split(rows[q.row][q.column], ";")[q.part]
		recorded, _, _ = strings.Cut(recorded, ",") // what follows is a part of it
		var low, high float64
		for i, text := range number.FindAllString(recorded, -1) {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 {
				low, high = v, v
			}
			low, high = min(low, v), max(high, v)
		}
		got, err := strconv.ParseFloat(said[1], 64)
		if slack := 0.03 * high; err != nil || got < low-slack || got > high+slack {
			t.Errorf("%s says %q; %s, row %q, has%s", q.file, said[0], costs, q.row, recorded)
		}
	}
}
