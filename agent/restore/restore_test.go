package restore_test

import (
	"encoding/json"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/config/configtest"
	"bayward/agent/interlock"
	"bayward/agent/logbook"
	"bayward/agent/restore"
)

// TestWhatIsDoubtedIsHeld: a bay whose past may be lost is held until a
// technician has looked. A bay that is new, or whose memory is good, is not.
func TestWhatIsDoubtedIsHeld(t *testing.T) {
	setups, err := configtest.Parse(t, configtest.OneBay(t)).Setups()
	require.NoError(t, err)
	memory := bay.New(setups[0]).Memory()
	good, err := json.Marshal(&memory)
	require.NoError(t, err)
	for name, row := range map[string]struct {
		noBook, damaged bool
		memory          []byte // nil for none
		held            bool
	}{
		"no logbook":                        {noBook: true, held: true},
		"a new bay":                         {},
		"a new bay beside a damaged book":   {damaged: true, held: true},
		"a memory that cannot be read":      {memory: []byte("{"), held: true},
		"a memory":                          {memory: good},
		"a memory beside a damaged logbook": {memory: good, damaged: true},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "logbook.db")
			if row.damaged {
				require.NoError(t, os.WriteFile(path+".damaged-1", nil, 0o600))
			}
			from := restore.Source{
				Now: func() time.Duration { return time.Hour }, Log: slog.New(slog.DiscardHandler),
				Gap: func(logbook.Stamp) (time.Duration, bool) { return time.Minute, true },
			}
			if !row.noBook {
				book, err := logbook.Open(t.Context(), path, from.Log)
				require.NoError(t, err)
				defer func() { require.NoError(t, book.Close()) }()
				if row.memory != nil {
					require.NoError(t, book.SaveMemory(t.Context(), setups[0].Name, logbook.Stamp{}, row.memory))
				}
				from.Book = book
			}
			one := from.Core(t.Context(), &setups[0])
			all, histories := from.Cores(t.Context(), setups, []string{setups[0].Pack.Name})
			require.Len(t, all, 1)
			require.NotNil(t, histories)
			for _, core := range []*bay.Bay{one, all[0]} { // the walk command's and the agent's
				p, _ := core.Step(&bay.Readings{Now: time.Hour})
				require.Equal(t, row.held, p.Findings[interlock.Held].Raised)
				require.False(t, p.Permit.Granted)
			}
		})
	}
}
