package records_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/logbook"
	"bayward/agent/records"
)

// given writes the dataset of twoWeeks and returns its folder.
func given(t *testing.T, d records.Dataset) string {
	t.Helper()
	_, r := kept(t, twoWeeks())
	dir := filepath.Join(t.TempDir(), "week")
	require.NoError(t, d.Write(t.Context(), r, dir))
	return dir
}

func datasetTable(t *testing.T, dir, name string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, name))
	require.NoError(t, err)
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, name := range lines[0] {
			row[name] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// TestDatasetNamesNobody reads every byte that leaves: nothing of the record that says
// where, who or when.
func TestDatasetNamesNobody(t *testing.T) {
	dir := given(t, records.Dataset{Bays: []string{"bay-1"}, Packs: []records.DatasetPack{{Pack: bay.Pack{Name: "lift-24v", Cells: 12}}}})
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, files, 6)
	for _, f := range files {
		text, err := os.ReadFile(filepath.Join(dir, f.Name()))
		require.NoError(t, err)
		for _, secret := range []string{"bay-1", "lift-24v", "Ann", "Zoë", "张", "2026", "face shield", "5f0c3b1e", "Level is"} {
			require.NotContains(t, string(text), secret, f.Name())
		}
		require.NotEmpty(t, text)
	}
}

// TestDatasetKeepsTheNumbers sets some rows beside what was recorded: midnight is six
// hours before the first charge of twoWeeks.
func TestDatasetKeepsTheNumbers(t *testing.T) {
	dir := given(t, records.Dataset{Bays: []string{"bay-1"}, Packs: []records.DatasetPack{{Pack: bay.Pack{Name: "lift-24v", Cells: 12}, LevelProbe: "rods"}}})
	charges := datasetTable(t, dir, "charges.csv")
	require.Len(t, charges, 13, "one of the fourteen has a clock that was not set")
	first, last := charges[0], charges[len(charges)-1]
	require.Equal(t, "21600", first["start_s"])
	require.Equal(t, "54000", first["end_s"])
	require.Equal(t, []string{"1", "1", "100", "36.25", "true"}, []string{first["bay"], first["pack"], first["in_ah"], first["max_c"], first["full"]})
	require.Empty(t, last["end_s"], "still in progress")
	require.Empty(t, charges[3]["low_level_mm"], "unknown is empty, not 0")
	cells := datasetTable(t, dir, "cells.csv")
	require.Len(t, cells, 25)
	require.Equal(t, []string{"1", "101", "1.271", "31"}, []string{cells[0]["cell"], cells[0]["water_ml"], cells[0]["gravity"], cells[0]["gravity_c"]})
	packs := datasetTable(t, dir, "packs.csv")
	require.Len(t, packs, 1)
	require.Equal(t, []string{"1", "12", "rods"}, []string{packs[0]["pack"], packs[0]["cells"], packs[0]["level_probe"]})
	card, err := os.ReadFile(filepath.Join(dir, "README.md"))
	require.NoError(t, err)
	for _, says := range []string{"1 bay(s) and 1 pack(s)", "CC0 1.0", "1 row(s) that were stamped before the clock", "### charges.csv", "13 rows"} {
		require.Contains(t, string(card), says)
	}
}

// TestEveryColumnIsExplained: a stranger has only the card.
func TestEveryColumnIsExplained(t *testing.T) {
	dir := given(t, records.Dataset{Bays: []string{"bay-1"}})
	card, err := os.ReadFile(filepath.Join(dir, "README.md"))
	require.NoError(t, err)
	for line := range strings.Lines(string(card)) {
		assert.NotRegexp(t, "^\\| `[a-z0-9_]+` \\|  \\|", line)
	}
}

// TestDatasetIsWholeOrNotThere: a folder that is there is left alone, and a record
// with nothing to give makes none.
func TestDatasetIsWholeOrNotThere(t *testing.T) {
	_, r := kept(t, twoWeeks())
	dir := t.TempDir()
	d := records.Dataset{Bays: []string{"bay-1"}}
	require.ErrorContains(t, d.Write(t.Context(), r, dir), "it is there already")
	d.Until = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	require.ErrorContains(t, d.Write(t.Context(), r, filepath.Join(dir, "none")), "no dated row")
	_, empty := kept(t, logbook.Rows{})
	d.Until = time.Time{}
	require.ErrorContains(t, d.Write(t.Context(), empty, filepath.Join(dir, "none")), "no dated row")
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, left)
}
