package deploy_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// TestReleaseRefuses: a release that could not be told from others is not begun.
func TestReleaseRefuses(t *testing.T) {
	dir := t.TempDir()
	in := func(name string, args ...string) string {
		cmd := exec.CommandContext(t.Context(), name, args...)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		if err != nil && name == "git" {
			t.Fatalf("%s: %v\n%s", args, err, out)
		}
		return fmt.Sprintf("%d %s", cmd.ProcessState.ExitCode(), out)
	}
	if err := os.Mkdir(filepath.Join(dir, "deploy"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "deploy/release"), []byte(readFile(t, "release")), 0o755); err != nil {
		t.Fatal(err)
	}
	in("git", "init", "-q")
	in("git", "add", "deploy")
	in("git", "-c", "user.name=A. Person", "-c", "user.email=a@example.org", "commit", "-qm", "first")
	for _, row := range []struct {
		before func()
		folder string
		says   string
	}{
		{func() {}, "out", "bears no tag"},
		{func() { in("git", "tag", "1.0.0") }, "out", "bears no tag"},
		{func() { in("git", "tag", "v1.0.0") }, "out", "not committed"}, // the folder itself is in the tree
		{func() {}, "deploy", "is not empty"},
		{func() {}, "--hurry", "usage:"},
	} {
		row.before()
		if err := os.WriteFile(filepath.Join(dir, "new"), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if got := in("deploy/release", row.folder); !strings.HasPrefix(got, "2 ") || !strings.Contains(got, row.says) {
			t.Errorf("%s: got %s, want 2 and %q", row.folder, got, row.says)
		}
	}
}

// released is the folder of a whole release; making one takes minutes, so that
// deploy/test --package does it.
func released(t *testing.T) string {
	t.Helper()
	folder := os.Getenv("BAYWARD_RELEASE")
	if folder == "" {
		t.Skip("BAYWARD_RELEASE names no release; deploy/test --package makes one")
	}
	return folder
}

// only is the one file of the release that matches.
func only(t *testing.T, folder, pattern string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(folder, pattern))
	if err != nil || len(found) != 1 {
		t.Fatalf("%s: %v, %v, want one", pattern, found, err)
	}
	return found[0]
}

// TestReleaseIsWhole: every file is there and has its sum, and the program says
// from which commit it is.
func TestReleaseIsWhole(t *testing.T) {
	folder := released(t)
	sums, files := readFile(t, filepath.Join(folder, "SHA256SUMS")), 0
	for _, pattern := range []string{"*_arm64.deb", "*_armhf.deb", "*_amd64.deb", "*.cdx.json", "*.govulncheck"} {
		path := only(t, folder, "bayward_"+pattern)
		want := fmt.Sprintf("%x  %s\n", sha256.Sum256([]byte(readFile(t, path))), filepath.Base(path))
		if !strings.Contains(sums, want) {
			t.Errorf("SHA256SUMS does not have: %s", want)
		}
		files++
	}
	if got := strings.Count(sums, "\n"); got != files {
		t.Errorf("%d sums for %d files", got, files)
	}
	report := readFile(t, only(t, folder, "*.govulncheck"))
	if !strings.HasPrefix(report, "NOT CHECKED: ") && !strings.Contains(report, "No vulnerabilities found.") {
		t.Errorf("the report says neither what was found nor that nothing was looked for:\n%s", report)
	}
	program := unpacked(t, folder)
	head, err := exec.CommandContext(t.Context(), "git", "rev-parse", "HEAD").Output()
	if err != nil {
		t.Fatal(err)
	}
	if info := run(t, "go", "version", "-m", program); !strings.Contains(info, "vcs.revision="+string(bytes.TrimSpace(head))) {
		t.Errorf("the program does not name commit %s:\n%s", head, info)
	}
	if said := run(t, program, "--version"); !strings.Contains(said, string(head[:12])) {
		t.Errorf("--version says %s, want commit %s", said, head[:12])
	}
}

// TestReleaseMaterials holds the bill of materials against the schema of its
// format (CycloneDX, from the format's Go library) and against the program.
func TestReleaseMaterials(t *testing.T) {
	folder := released(t)
	text := readFile(t, only(t, folder, "*.cdx.json"))
	var bill struct {
		BomFormat, SpecVersion string
		Metadata               struct {
			Component struct{ Name, Version, PURL string }
		}
		Components []struct{ Type, Name, Version, PURL string }
	}
	if err := json.Unmarshal([]byte(text), &bill); err != nil {
		t.Fatal(err)
	}
	if bill.BomFormat != "CycloneDX" {
		t.Fatalf("format %q", bill.BomFormat)
	}
	instance, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if err := billSchema(t, bill.SpecVersion).Validate(instance); err != nil {
		t.Error(err)
	}
	if c := bill.Metadata.Component; c.Name != "bayward" || !strings.Contains(filepath.Base(only(t, folder, "*_arm64.deb")), c.Version) || c.Version == "" {
		t.Errorf("it is of %+v", c)
	}
	var linked, named []string
	for line := range strings.Lines(run(t, "go", "version", "-m", unpacked(t, folder))) {
		if f := strings.Fields(line); len(f) > 2 && f[0] == "dep" {
			linked = append(linked, f[1]+" "+f[2])
		}
	}
	for _, c := range bill.Components {
		if c.Name == "std" { // the standard library: no module of its own
			continue
		}
		named = append(named, c.Name+" "+c.Version)
		if c.Type != "library" || !strings.HasPrefix(c.PURL, "pkg:golang/") {
			t.Errorf("%+v is no Go library", c)
		}
	}
	slices.Sort(linked)
	slices.Sort(named)
	if len(linked) < 20 || !slices.Equal(linked, named) {
		t.Errorf("linked into the program:\n%v\nnamed:\n%v", linked, named)
	}
}

// billSchema is the format's schema as the library cyclonedx-go brings it.
func billSchema(t *testing.T, version string) *jsonschema.Schema {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", "mod", "download", "-json", "github.com/CycloneDX/cyclonedx-go@v0.9.3")
	cmd.Dir = t.TempDir() // outside of our module, which must not know it
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	var module struct{ Dir string }
	if err := json.Unmarshal(out, &module); err != nil {
		t.Fatal(err)
	}
	compiler := jsonschema.NewCompiler()
	for _, name := range []string{"bom-" + version + ".schema.json", "spdx.schema.json", "jsf-0.82.schemax.json"} {
		doc, err := jsonschema.UnmarshalJSON(strings.NewReader(readFile(t, filepath.Join(module.Dir, "schema", name))))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if err := compiler.AddResource(doc.(map[string]any)["$id"].(string), doc); err != nil {
			t.Fatal(err)
		}
	}
	schema, err := compiler.Compile("http://cyclonedx.org/schema/bom-" + version + ".schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

// unpacked is the release's program for this machine's kind.
func unpacked(t *testing.T, folder string) string {
	t.Helper()
	dir := t.TempDir()
	run(t, "dpkg-deb", "-x", only(t, folder, "*_amd64.deb"), dir)
	return filepath.Join(dir, "usr/bin/bayward")
}

// run gives what a program prints, which must end well.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}
