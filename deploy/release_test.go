package deploy_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
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
	run(t, "sh", "-c", `cd "$1" && sha256sum --check --ignore-missing SHA256SUMS`, "sh", folder) // as the how-to has it
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

// TestReleaseBringsGuides: who installs it has the guides at hand, and every link
// in them leads to a file of the package.
func TestReleaseBringsGuides(t *testing.T) {
	docs := filepath.Join(filepath.Dir(unpacked(t, released(t))), "../share/doc/bayward")
	links := 0
	for _, name := range []string{"wiring.md", "first-hardware.md", "howto/README.md"} {
		path := filepath.Join(docs, name)
		for _, link := range regexp.MustCompile(`\]\(([^)#:]+)\)`).FindAllStringSubmatch(readFile(t, path), -1) {
			links++
			if _, err := os.Stat(filepath.Join(filepath.Dir(path), link[1])); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	if links < 9 {
		t.Errorf("only %d links were found", links)
	}
}

// weakness is a made-up vulnerability database, by the published layout
// (https://go.dev/security/vuln/database, from memory), with one entry: every version of a module that is linked
// in has it, in this function of one package.
func weakness(t *testing.T, function string) (url string) {
	t.Helper()
	const id, module, then = "GO-2000-0001", "periph.io/x/conn/v3", "2000-01-01T00:00:00Z"
	entry := map[string]any{
		"schema_version": "1.3.1", "id": id, "modified": then, "published": then, "details": "Invented.",
		"database_specific": map[string]any{"url": "https://vuln.example/" + id},
		"affected": []any{map[string]any{
			"package":            map[string]any{"name": module, "ecosystem": "Go"},
			"ranges":             []any{map[string]any{"type": "SEMVER", "events": []any{map[string]any{"introduced": "0"}}}},
			"ecosystem_specific": map[string]any{"imports": []any{map[string]any{"path": module + "/gpio/gpioreg", "symbols": []string{function}}}},
		}},
	}
	dir := t.TempDir()
	for name, value := range map[string]any{
		"ID/" + id:      entry,
		"index/db":      map[string]any{"modified": then},
		"index/modules": []any{map[string]any{"path": module, "vulns": []any{map[string]any{"id": id, "modified": then}}}},
	} {
		text, err := json.Marshal(value)
		path := filepath.Join(dir, name+".json")
		if err := errors.Join(err, os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, text, 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	return "file://" + dir
}

// TestReleaseEndsOnWeakness: a function with a known weakness that is in the program
// ends the release before any package is built, whatever is asked for. One that no
// command needs, and the linker has left out, lets it go on. A database that cannot
// be asked ends it unless that is said to be known.
func TestReleaseEndsOnWeakness(t *testing.T) {
	released(t) // takes as long
	dir := t.TempDir()
	run(t, "git", "clone", "-q", "..", dir)
	for name, text := range map[string]string{"release": readFile(t, "release"), "package/build": "#!/bin/sh\necho building; exit 7\n"} {
		if err := os.WriteFile(filepath.Join(dir, "deploy", name), []byte(text), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	const linked, left, ends, builds = "ByName", "Unregister", 1, 7
	gone := "file://" + filepath.Join(dir, "nothing")
	for _, row := range []struct {
		name, db string
		flags    []string
		code     int
		says     string
	}{
		{"linked", weakness(t, linked), []string{"--unchecked"}, ends, "gpioreg." + linked},
		{"left out", weakness(t, left), nil, builds, "building"},
		{"no database", gone, nil, ends, "not checked for known weaknesses"},
		{"no database, unchecked", gone, []string{"--unchecked"}, builds, "NOT CHECKED"},
	} {
		t.Run(row.name, func(t *testing.T) {
			folder := t.TempDir()
			cmd := exec.CommandContext(t.Context(), filepath.Join(dir, "deploy/release"), append(append([]string{"--snapshot"}, row.flags...), folder)...)
			cmd.Env = append(os.Environ(), "GOVULNDB="+row.db)
			out, _ := cmd.CombinedOutput()
			if code := cmd.ProcessState.ExitCode(); code != row.code || !strings.Contains(string(out), row.says) {
				t.Errorf("got %d, want %d and %q:\n%s", code, row.code, row.says, out)
			}
			if strings.Contains(string(out), "building") != (row.code == builds) {
				t.Errorf("builds: want %t:\n%s", row.code == builds, out)
			}
			if left, err := os.ReadDir(folder); err != nil || len(left) > 0 {
				t.Errorf("in the folder: %v, %v", left, err)
			}
		})
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
