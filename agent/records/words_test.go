package records_test

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
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

// TestBackupInEveryLanguage: what a copy covers, and that its chain is broken, where it is.
func TestBackupInEveryLanguage(t *testing.T) {
	path, r := kept(t, twoWeeks())
	to := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, records.Backup(t.Context(), r, path, to, false))
	for language, want := range map[string]string{
		"en": to + ": the logbook with 16 charges and visits, 1 corrections in its chain.\n",
		"es": to + ": el registro con 16 cargas y visitas, 1 correcciones en su cadena.\n",
	} {
		var out bytes.Buffer
		require.NoError(t, records.WriteBackedUp(t.Context(), &out, words.New(language, "si"), to))
		require.Equal(t, want, out.String())
	}
}

// TestErrorsInSpanish: no English is left in what a person typed wrong.
func TestErrorsInSpanish(t *testing.T) {
	_, r := kept(t, twoWeeks())
	_, when := records.When("noon", time.Unix(0, 0), time.UTC)
	_, row := records.TableNamed("visits").Find(t.Context(), r, 9999)
	pack := records.WriteReport(t.Context(), io.Discard, r, &records.ReportOptions{Pack: "none"})
	require.ErrorIs(t, pack, records.ErrNoPack)
	require.ErrorIs(t, row, records.ErrNone)
	for want, err := range map[string]error{
		"no se acepta el valor \"noon\": se acepta RFC 3339 como 2026-03-01T06:00:00Z, una fecha como 2026-03-01, o un lapso hacia atrás desde ahora como 12h, 30d, 8w o 2y": when,
		"el registro no tiene esa fila":                    row,
		"el registro no tiene esa batería; tiene lift-24v": pack,
	} {
		require.Equal(t, want, words.New("es", "").Error(err))
	}
	require.EqualError(t, pack, "the record has no such pack; it has lift-24v")
	require.EqualError(t, row, "the record has no such row")
	require.EqualError(t, when, "value \"noon\" is not accepted: "+"accepted: RFC 3339 such as 2026-03-01T06:00:00Z, a date such as 2026-03-01, or a span back from now such as 12h, 30d, 8w or 2y")
}
