package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// askers start each shell, with the completion where its package puts it, and ask the shell's own
// completion what it offers for each line. They print one line of answers for each, between words tabs.
var askers = map[string]struct {
	file string   // under the test's folder
	args []string // the folder and the lines follow
}{
	"bash": {"bayward", []string{"--norc", "testdata/completion/ask.bash"}},
	"zsh":  {"_bayward", []string{"-f", "testdata/completion/ask.zsh"}},
	"fish": {"bayward.fish", []string{"--no-config", "testdata/completion/ask.fish"}},
}

// complete asks a shell what the script offers for each line, in a folder that has only bays.yaml.
func complete(t *testing.T, shell, script string, lines []string) [][]string {
	t.Helper()
	folder, err := filepath.Abs(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string]string{"script/" + askers[shell].file: script, "work/bays.yaml": ""} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(folder, name)), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(folder, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.CommandContext(t.Context(), shell, slices.Concat(askers[shell].args, []string{folder}, lines)...)
	cmd.Env = append(os.Environ(), "HOME="+folder, "XDG_CONFIG_HOME="+folder, "XDG_DATA_HOME="+folder, "TERM=dumb", "LC_ALL=C")
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if err != nil || complaints.Len() > 0 {
		t.Fatalf("%v, %s", err, complaints.String())
	}
	answers := strings.Split(strings.TrimSuffix(string(out), "\n"), "\n")
	if len(answers) != len(lines) {
		t.Fatalf("%d answers to %d lines: %q", len(answers), len(lines), out)
	}
	var all [][]string
	for _, a := range answers {
		words := strings.Fields(a)
		slices.Sort(words)
		all = append(all, words)
	}
	return all
}

// TestCompletion: bash, zsh and fish, each asked by itself, offer the commands and flags that are not
// hidden, the choices of a flag, files where a file is meant, and nothing where a number is.
func TestCompletion(t *testing.T) {
	lines := []string{
		"bayward ch", "bayward man", "bayward check --", "bayward check --config ", "bayward check --config b",
		"bayward demo --speed ", "bayward demo --by-hand --s", "bayward replay ba", "bayward --v", "bayward records v",
		"bayward records list --kind c",
	}
	want := [][]string{
		{"check"}, nil /* hidden */, {"--config", "--elsewhere", "--help", "--json", "--schema", "--strict"}, {"bays.yaml"}, {"bays.yaml"},
		nil, {"--speed"}, {"bays.yaml"}, {"--version"}, {"verify"},
		{"charges", "corrections"},
	}
	leaves := model(t).Leaves(true)
	for _, leaf := range leaves {
		lines = append(lines, "bayward "+leaf.Path()+" --")
	}
	for shell := range askers {
		t.Run(shell, func(t *testing.T) {
			needs(t, shell)
			code, script, complaints := bayward(t, "", "completion", shell)
			if code != exitDone || complaints != "" {
				t.Fatalf("exit code %d, %q", code, complaints)
			}
			got := complete(t, shell, script, lines)
			for i, w := range want {
				if !slices.Equal(got[i], w) {
					t.Errorf("%q: got %q, want %q", lines[i], got[i], w)
				}
			}
			for i, leaf := range leaves {
				for _, f := range leaf.Flags {
					if !slices.Contains(got[len(want)+i], "--"+f.Name) {
						t.Errorf("%s: --%s is not offered: %q", leaf.Path(), f.Name, got[len(want)+i])
					}
				}
			}
		})
	}
}

// TestCompletionOfNoShell: the shell is bash where none is named, and one of the three.
func TestCompletionOfNoShell(t *testing.T) {
	_, named, _ := bayward(t, "", "completion", "bash")
	if _, unnamed, _ := bayward(t, "", "completion"); unnamed != named || named == "" {
		t.Error("without a shell the script is not that of bash")
	}
	if code, _, complaints := bayward(t, "", "completion", "ksh"); code != exitUsage || !strings.Contains(complaints, "ksh") || !strings.Contains(complaints, "fish") {
		t.Errorf("another shell: %d, %q", code, complaints)
	}
}
