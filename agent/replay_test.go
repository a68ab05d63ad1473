package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"bayward/agent/config/configtest"
	"bayward/agent/replay"
	"bayward/agent/words"

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
	code := execute(context.Background(), append(args, traces...), &program{strings.NewReader(good), &out, &complaints, words.EnglishSI()})
	require.Equal(t, exitUsage, code)
	require.Contains(t, complaints.String(), "b.csv:3: field pack_v")
	require.Contains(t, complaints.String(), "none.csv")

	var alone bytes.Buffer
	require.Equal(t, exitDone, execute(context.Background(), append(args, "-"), &program{strings.NewReader(good), &alone, &complaints, words.EnglishSI()}))
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

	require.Equal(t, exitUsage, execute(context.Background(), append(args, traces[0], traces[0]), &program{strings.NewReader(""), &out, &complaints, words.EnglishSI()}))
	require.Contains(t, complaints.String(), "given twice")
	require.Equal(t, exitUsage, execute(context.Background(), append(args, "--plot", filepath.Join(dir, "p.svg"), traces[0], "-"), &program{strings.NewReader(""), &out, &complaints, words.EnglishSI()}))
	require.Contains(t, complaints.String(), "--plot")
	require.Equal(t, exitUsage, execute(context.Background(), append(args, "--orders", traces[0], traces[0], "-"), &program{strings.NewReader(""), &out, &complaints, words.EnglishSI()}))
	require.Contains(t, complaints.String(), "--orders")
}

var update = flag.Bool("update", false, "write the replay in its README again")

// TestReadmeShowsAReplay: what its README says that a replay prints is what it prints.
func TestReadmeShowsAReplay(t *testing.T) {
	const readme = "replay/README.md"
	text, err := os.ReadFile(readme)
	require.NoError(t, err)
	before, rest, found := strings.Cut(string(text), "$ go run ./agent replay ")
	require.True(t, found)
	command, rest, _ := strings.Cut(rest, "\n")
	shown, after, _ := strings.Cut(rest, "```")
	code, out, complaints := bayward(t, "", strings.Fields("replay "+strings.ReplaceAll(command, "testdata/", "../testdata/"))...)
	require.Equal(t, exitDone, code, complaints)
	if *update && shown != out {
		require.NoError(t, os.WriteFile(readme, []byte(before+"$ go run ./agent replay "+command+"\n"+out+"```"+after), 0o600))
		return
	}
	require.Equal(t, out, shown, "go test ./agent -run TestReadme -update; see whether the sentence below it still holds")
}

// TestReplayPrintsItsSchema needs neither a configuration nor a trace.
func TestReplayPrintsItsSchema(t *testing.T) {
	code, out, complaints := bayward(t, "", "replay", "--schema")
	require.Equal(t, exitDone, code, complaints)
	require.JSONEq(t, string(replay.Schema()), out)
}

// TestReplayEvery: between changes a line comes as often as it is asked for.
func TestReplayEvery(t *testing.T) {
	var trace strings.Builder
	trace.WriteString("time_s,pack_v,pack_c,level_mm\n")
	for s := 0; s <= 3600; s += 60 {
		fmt.Fprintf(&trace, "%d,25.2,25,5\n", s)
	}
	times := func(args ...string) (all []string) {
		code, out, complaints := bayward(t, trace.String(), append([]string{"replay", "--config", "../testdata/traces/packs.yaml", "--pack", "model-500ah", "-"}, args...)...)
		require.Equal(t, exitDone, code, complaints)
		for _, found := range regexp.MustCompile(`"time_s":(\d+)`).FindAllStringSubmatch(out, -1) {
			all = append(all, found[1])
		}
		return all
	}
	changes := times()
	require.Equal(t, append(changes, "660", "1260", "1860", "2460", "3060"), times("--every", "10m"))
}
