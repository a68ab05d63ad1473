package package_test

import (
	"encoding/json"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// shared has share gather its files, and lists them.
func shared(t *testing.T) (folder string, files []string) {
	t.Helper()
	folder = filepath.Join(t.TempDir(), "shared")
	if out, err := command(t, "./share", folder); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	err := fs.WalkDir(os.DirFS(folder), ".", func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			files = append(files, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return folder, files
}

// TestShareIsWhole: every contract, schema, board, rule file and reader that git has goes into the
// package unchanged, and nothing else.
func TestShareIsWhole(t *testing.T) {
	needs(t, "git")
	folder, got := shared(t)
	var want []string
	for to, from := range map[string]string{
		"share/contract/":         "mqtt/asyncapi.yaml agent/web/openapi.yaml",
		"share/contract/schemas/": "mqtt/schemas/",
		"share/rules/":            "dashboards/rules/*.yaml",
		"share/boards/":           "dashboards/grafana/",
		"examples/":               "mqtt/examples/*.py mqtt/examples/*.sh",
		"examples/node-red/":      "mqtt/examples/node-red/flow.json",
	} {
		out, err := command(t, "git", append([]string{"-C", "../..", "ls-files"}, strings.Fields(from)...)...)
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		for _, file := range strings.Fields(out) {
			if strings.HasSuffix(file, "_test.yaml") {
				continue // the rules' own tests
			}
			want = append(want, to+filepath.Base(file))
			same(t, filepath.Join("../..", file), filepath.Join(folder, to, filepath.Base(file)))
		}
	}
	want = append(want, "share/contract/schemas/replay.json")
	same(t, "../../agent/replay/schema.json", filepath.Join(folder, "share/contract/schemas/replay.json"))
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

// same fails unless two files have the same content and the same right to be run.
func same(t *testing.T, from, to string) {
	t.Helper()
	if out, err := command(t, "cmp", from, to); err != nil {
		t.Errorf("%v: %s", err, out)
		return
	}
	a, errA := os.Stat(from)
	b, errB := os.Stat(to)
	if errA != nil || errB != nil || a.Mode()&0o111 != b.Mode()&0o111 {
		t.Errorf("%s, %s: %v, %v, or not the same right to be run", from, to, errA, errB)
	}
}

// TestShareServes: what is gathered can be used from where it lies, alone: schemas compile (JSON
// Schema 2020-12, by its validator), contracts and boards parse, and Prometheus takes the rules.
func TestShareServes(t *testing.T) {
	folder, files := shared(t)
	for _, file := range files {
		path := filepath.Join(folder, file)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		switch {
		case strings.HasPrefix(file, "share/contract/schemas/"):
			_, err = jsonschema.NewCompiler().Compile(path)
		case strings.HasSuffix(file, ".json"):
			if !json.Valid(data) {
				t.Errorf("%s is no JSON", file)
			}
		case strings.HasSuffix(file, ".yaml"):
			var v any
			err = yaml.Unmarshal(data, &v)
		}
		if err != nil {
			t.Errorf("%s: %v", file, err)
		}
	}
	needs(t, "promtool")
	if out, err := command(t, "promtool", "check", "rules", filepath.Join(folder, "share/rules/bayward.yaml")); err != nil {
		t.Errorf("%v: %s", err, out)
	}
}

// TestPackageTakesAll: the packer is told to pack what is gathered and every script of a shell.
func TestPackageTakesAll(t *testing.T) {
	data, err := os.ReadFile("nfpm.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var packed struct {
		Contents []struct{ Src, Dst, Type string }
	}
	if err := yaml.Unmarshal(data, &packed); err != nil {
		t.Fatal(err)
	}
	// Where each shell looks for what packages bring: their manuals.
	for dst, src := range map[string]string{
		"/usr/share/bayward":                                "shared/share",
		"/usr/share/doc/bayward/examples":                   "shared/examples",
		"/usr/share/bash-completion/completions/bayward":    "bayward.bash",
		"/usr/share/zsh/vendor-completions/_bayward":        "bayward.zsh",
		"/usr/share/fish/vendor_completions.d/bayward.fish": "bayward.fish",
		"/usr/share/doc/bayward/changelog.Debian.gz":        "changelog.Debian.gz",
	} {
		found := false
		for _, c := range packed.Contents {
			found = found || c.Dst == dst && c.Src == src && (c.Type == "tree") == strings.HasPrefix(src, "shared/")
		}
		if !found {
			t.Errorf("%s is not packed as %s", src, dst)
		}
	}
}

// parsed is what Debian's own parser reads from a changelog: the field of the newest entry.
func parsed(t *testing.T, changelog, field string, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "dpkg-parsechangelog", append([]string{"-l-", "--show-field", field}, args...)...)
	cmd.Stdin = strings.NewReader(changelog)
	var complaints strings.Builder
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if err != nil || complaints.Len() > 0 {
		t.Fatalf("%v: %s\n%s", err, complaints.String(), changelog)
	}
	return strings.TrimSpace(string(out))
}

// TestChangelog: Debian's parser finds nothing to say about the changelog, the newest entry is that of
// the package, whatever entry is at the top of the file, and no entry is lost.
func TestChangelog(t *testing.T) {
	needs(t, "dpkg-parsechangelog", "git")
	kept, err := os.ReadFile("changelog.Debian")
	if err != nil {
		t.Fatal(err)
	}
	const tail = "\n\n  * It opens.\n\n -- A. Person <a@example.org>  Thu, 01 Jan 2026 00:00:00 +0000\n"
	for name, row := range map[string]struct {
		file, date string // of the newest entry, "" for that of the commit
		entries    int
	}{
		"as it is":     {string(kept), "", strings.Count(string(kept), "\n -- ")},
		"not released": {"bayward (1.2-1) UNRELEASED; urgency=medium" + tail + "\nbayward (1.1-1) stable; urgency=medium" + tail, "", 2},
		"this version": {"bayward (1.2.3-1) stable; urgency=medium" + tail, "Thu, 01 Jan 2026 00:00:00 +0000", 1},
		"older":        {"bayward (1.2-1) stable; urgency=medium" + tail, "", 2},
	} {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			script, err := os.ReadFile("changelog")
			if err != nil {
				t.Fatal(err)
			}
			for file, text := range map[string]string{"changelog": string(script), "changelog.Debian": row.file} {
				if err := os.WriteFile(filepath.Join(folder, file), []byte(text), 0o755); err != nil {
					t.Fatal(err)
				}
			}
			for _, args := range [][]string{{"init", "-q"}, {"add", "."}, {"-c", "user.name=A. Person", "-c", "user.email=a@example.org", "commit", "-qm", "first", "--date", "2026-02-03T04:05:06Z"}} {
				cmd := exec.CommandContext(t.Context(), "git", append([]string{"-C", folder}, args...)...)
				cmd.Env = append(os.Environ(), "GIT_COMMITTER_DATE=2026-02-03T04:05:06Z")
				if out, err := cmd.CombinedOutput(); err != nil {
					t.Fatalf("%v: %s", err, out)
				}
			}
			out, err := command(t, filepath.Join(folder, "changelog"), "1.2.3")
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			if row.date == "" {
				row.date = "Tue, 03 Feb 2026 04:05:06 +0000"
				if changes := parsed(t, out, "Changes"); !strings.Contains(changes, "Built from commit ") {
					t.Errorf("the commit is not named: %s", changes)
				}
			}
			for field, want := range map[string]string{"Version": "1.2.3-1", "Distribution": "stable", "Date": row.date} {
				if got := parsed(t, out, field); got != want {
					t.Errorf("%s: got %s, want %s", field, got, want)
				}
			}
			if got := strings.Count(parsed(t, out, "Changes", "--all"), "bayward ("); got != row.entries {
				t.Errorf("%d entries, want %d:\n%s", got, row.entries, out)
			}
		})
	}
	if out, err := command(t, "./changelog"); err == nil || !strings.Contains(out, "usage:") {
		t.Errorf("without a version: %v, %s", err, out)
	}
}
