package main

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"

	"bayward/agent/config/configtest"

	"github.com/stretchr/testify/require"
)

// TestReplaySeveral: each trace says what it says alone, in the order in which
// they are named, and one that is broken does not stop the others.
func TestReplaySeveral(t *testing.T) {
	dir := t.TempDir()
	good := "time_s,pack_v,pack_c,level_mm\n0,25.2,25,5\n60,25.2,25,5\n120,25.2,25,-1\n180,25.2,25,-1\n"
	traces := []string{configtest.File(t, "a.csv", good), configtest.File(t, "b.csv", "time_s,pack_v\n0,24\n1,volts\n"), "-", filepath.Join(dir, "none.csv"), configtest.File(t, "c.csv", good)}
	args := []string{"replay", "--config", "../testdata/traces/packs.yaml", "--pack", "model-500ah"}
	var out, complaints bytes.Buffer
	code := execute(context.Background(), append(args, traces...), &program{strings.NewReader(good), &out, &complaints})
	require.Equal(t, exitUsage, code)
	require.Contains(t, complaints.String(), "b.csv:3: field pack_v")
	require.Contains(t, complaints.String(), "none.csv")

	var alone bytes.Buffer
	require.Equal(t, exitDone, execute(context.Background(), append(args, "-"), &program{strings.NewReader(good), &alone, &complaints}))
	require.NotContains(t, alone.String(), `"trace"`)
	var want, got strings.Builder
	for _, name := range []string{traces[0], "standard input", traces[4]} {
		want.WriteString(strings.ReplaceAll("\n"+alone.String(), "\n{", "\n{\"trace\":\""+name+"\",")[1:])
	}
	for line := range strings.Lines(out.String()) {
		if !strings.Contains(line, "b.csv") { // what it said before the broken line
			got.WriteString(line)
		}
	}
	require.Equal(t, want.String(), got.String())

	require.Equal(t, exitUsage, execute(context.Background(), append(args, traces[0], traces[0]), &program{strings.NewReader(""), &out, &complaints}))
	require.Contains(t, complaints.String(), "given twice")
	require.Equal(t, exitUsage, execute(context.Background(), append(args, "--plot", filepath.Join(dir, "p.svg"), traces[0], "-"), &program{strings.NewReader(""), &out, &complaints}))
	require.Contains(t, complaints.String(), "--plot")
}
