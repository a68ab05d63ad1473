package records_test

import (
	"bytes"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/words"
)

// TestTablesInEveryLanguage: what a person reads of a table on a terminal is in the
// reader's language; the names of columns are for programs, too, and stay.
func TestTablesInEveryLanguage(t *testing.T) {
	for _, table := range records.Tables() {
		for _, language := range words.Languages() {
			own := records.TableFor(words.New(language, "si"), time.UTC, table.Name)
			require.NotContains(t, own.About, "⟦", table.Name)
			require.Equal(t, language == words.English, own.About == table.About, table.Name)
			for i, c := range own.Columns {
				was := table.Columns[i]
				require.Equal(t, was.Name, c.Name)
				require.NotContains(t, c.Means, "⟦")
				require.Equal(t, was.Means == "", c.Means == "", "%s.%s", table.Name, c.Name)
			}
		}
	}
	rows := twoWeeks()
	rows.Visits[0].Notes = "confirmed: caps\nCell 4 is wet."
	_, r := kept(t, rows)
	spanish := records.TableFor(words.New("es", "si"), time.UTC, "visits")
	row, err := spanish.Find(t.Context(), r, 1)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, spanish.WriteRow(&out, row))
	require.Regexp(t, `(?m)^us_per_cm +2\.5 +conductividad del agua`, out.String())
	require.Contains(t, out.String(), "Confirmado: tapones asentados, respiraderos libres. Cell 4 is wet.")
}

// TestVerdictInEveryLanguage: the figures are the same in each.
func TestVerdictInEveryLanguage(t *testing.T) {
	for language, want := range map[string]string{
		"en": "The chain holds: 7 charges and visits, 2 corrections, 1 signed commissioning records.\nlast link abc\n" +
			"The memory of bay-1 does not match its checksum: the bay is on hold at the next start.\n",
		"es": "La cadena se mantiene: 7 cargas y visitas, 2 correcciones, 1 actas de puesta en marcha firmadas.\núltimo eslabón abc\n" +
			"La memoria de bay-1 no concuerda con su suma de control: el puesto queda retenido en el próximo arranque.\n",
	} {
		var out bytes.Buffer
		chain := logbook.Chain{Rows: 10, Signed: 1, Corrected: 2, Head: "abc"}
		require.NoError(t, records.WriteVerdict(&out, words.New(language, "si"), chain, []string{"bay-1"}, false))
		require.Equal(t, want, out.String())
	}
}

// TestBreakInEveryLanguage: where and how a chain breaks, with its figures.
func TestBreakInEveryLanguage(t *testing.T) {
	path, r := kept(t, twoWeeks())
	require.NoError(t, r.Close())
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, bytes.ReplaceAll(raw, []byte("steady-taper"), []byte("steady-paper")), 0o600))
	r, err = logbook.OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	o := options()
	o.Language = "es"
	var out bytes.Buffer
	require.NoError(t, records.WriteReport(t.Context(), &out, r, o))
	require.Regexp(t, `ROTA\. La cadena .* primeras \d+ filas: eslabón \d+ \(charge \d+\): se cambió la fila`, out.String())
}
