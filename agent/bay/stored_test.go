package bay_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// stored reads a memory of testdata/stored as its program wrote it. Writing it
// again must give the same text: the checksum is over the text, so one moved key
// makes every memory in the field look damaged.
func stored[M any](t *testing.T, name string) *M {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "stored", name+".json"))
	require.NoError(t, err)
	var m M
	require.NoError(t, json.Unmarshal(text, &m))
	again, err := json.Marshal(&m)
	require.NoError(t, err)
	require.Equal(t, string(bytes.TrimSpace(text)), string(again))
	return &m
}

// TestAStoredMemoryIsTaken: the program of schema 5 wrote these memories, before
// its memories shared their parts.
func TestAStoredMemoryIsTaken(t *testing.T) {
	core := bay.New(fuzzSetup())
	require.NoError(t, core.Restore(stored[bay.Memory](t, "memory"), time.Hour, time.Minute, true))
	r := goodReadings(&bay.Setup{Pack: bay.Pack{Cells: 12}})
	r.Now = time.Hour
	p, _ := core.Step(&r)
	require.True(t, p.Findings[interlock.Held].Raised)
	require.True(t, p.Findings[interlock.ChargeOverrun].Latched && p.Findings[interlock.ContactorStuck].Latched)
	require.Equal(t, 35.0, p.Findings[interlock.ContactorStuck].Evidence.Value)
	require.Equal(t, "A. Person", p.Visit.By)
	require.Equal(t, 120.0, p.Visit.GivenML[2])
	require.Equal(t, 9.5, *p.Visit.Cells[3].LevelMM)
	require.Equal(t, 4.5, p.Visit.USPerCM)
	require.True(t, p.Charge.Full)
	require.InDelta(t, 142.71, p.Charge.TotalGassingAh, 0.01)
	require.EqualValues(t, 2, p.Charge.Charges)
	require.Equal(t, 1, p.Water.Visits)
	require.EqualValues(t, 1, p.Readied)
}

// TestAStoredMemoryOfSeveralPacksIsTaken: by name, by sensor, and of an empty
// bay, whose pack's history is stored separately.
func TestAStoredMemoryOfSeveralPacksIsTaken(t *testing.T) {
	for name, pack := range map[string]string{"memory-person": "lift-b", "memory-sensor": "", "memory-nobody": ""} {
		t.Run(name, func(t *testing.T) {
			s := newSite(t, true)
			core, m := s.spots[0].core, stored[bay.Memory](t, name)
			require.NoError(t, core.Restore(m, time.Hour, time.Minute, true))
			p, _ := core.Step(s.spots[0].readings(time.Hour))
			require.Equal(t, pack, p.Pack.Name)
			require.True(t, p.Findings[interlock.ChargeOverrun].Latched)
			require.InDelta(t, 20.56, p.Totals.InAh, 0.01)
		})
	}
	s := newSite(t, true)
	s.histories.Add(stored[bay.PackMemory](t, "pack"), 0, true)
	s.spots[0].plug("lift-a")
	s.ticks(3)
	p := s.spots[0].pic
	require.Equal(t, "lift-a", p.Pack.Name)
	require.True(t, p.Findings[interlock.ChargeOverrun].Latched)
	require.InDelta(t, 20.57, p.Charge.TotalInAh, 0.01)
}
