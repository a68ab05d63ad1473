package records

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

// TestOlderSentencesStay: what an older program kept as a sentence is shown as it
// was written, in every language; what is kept in codes and numbers is worded.
func TestOlderSentencesStay(t *testing.T) {
	const written = "The level was 4.8 mm under the plate tops, as this program used to put it."
	found := logbook.Found{Value: logbook.Known(-4.8), Limit: logbook.Known(3)}
	for language, worded := range map[string]string{
		"en": "Level is 5 mm below the plate tops; charging needs 3 mm above them.",
		"es": "El nivel está 5 mm por debajo del borde de las placas; para cargar hacen falta 3 mm por encima.",
	} {
		v := words.New(language, "si")
		old := logbook.Record{Kind: "finding-raised", Code: "plates-bare", Text: written}
		require.Equal(t, written, EventText(v, &old))
		require.Equal(t, written, foundText(v, "plates-bare", &logbook.Found{}, written))
		now := logbook.Record{Kind: "finding-raised", Code: "plates-bare", Detail: logbook.Detail{Found: found}}
		require.Equal(t, worded, EventText(v, &now))
		require.Equal(t, worded, foundText(v, "plates-bare", &found, ""))
	}
}
