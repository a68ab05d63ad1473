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

// TestReleaseRefuses: a release that could not be identified is not started.
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
		prints string
	}{
		{func() {}, "out", "has no tag"},
		{func() { in("git", "tag", "1.0.0") }, "out", "has no tag"},
		{func() { in("git", "tag", "v1.0.0") }, "out", "uncommitted"}, // the folder itself is in the tree
		{func() {}, "deploy", "is not empty"},
		{func() {}, "--hurry", "usage:"},
	} {
		row.before()
		if err := os.WriteFile(filepath.Join(dir, "new"), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if got := in("deploy/release", row.folder); !strings.HasPrefix(got, "2 ") || !strings.Contains(got, row.prints) {
			t.Errorf("%s: got %s, want 2 and %q", row.folder, got, row.prints)
		}
	}
}

// released returns the folder of a complete release. Building one takes minutes, so
// only deploy/test --package does.
func released(t *testing.T) string {
	t.Helper()
	folder := os.Getenv("BAYWARD_RELEASE")
	if folder == "" {
		t.Skip("BAYWARD_RELEASE is not set; deploy/test --package builds a release")
	}
	return folder
}

// only returns the one file of the release that matches.
func only(t *testing.T, folder, pattern string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(folder, pattern))
	if err != nil || len(found) != 1 {
		t.Fatalf("%s: %v, %v, want one", pattern, found, err)
	}
	return found[0]
}

// TestReleaseIsWhole: every file is there with its checksum, and the program names
// its commit.
func TestReleaseIsWhole(t *testing.T) {
	folder := released(t)
	sums, files := readFile(t, filepath.Join(folder, "SHA256SUMS")), 0
	for _, pattern := range []string{"_*_arm64.deb", "_*_armhf.deb", "_*_amd64.deb", "_*.cdx.json", "-keeper_*.cdx.json", "_*.govulncheck"} {
		path := only(t, folder, "bayward"+pattern)
		want := fmt.Sprintf("%x  %s\n", sha256.Sum256([]byte(readFile(t, path))), filepath.Base(path))
		if !strings.Contains(sums, want) {
			t.Errorf("SHA256SUMS lacks: %s", want)
		}
		files++
	}
	run(t, "sh", "-c", `cd "$1" && sha256sum --check --ignore-missing SHA256SUMS`, "sh", folder) // as in the how-to
	if got := strings.Count(sums, "\n"); got != files {
		t.Errorf("%d sums for %d files", got, files)
	}
	report := readFile(t, only(t, folder, "*.govulncheck"))
	if !strings.HasPrefix(report, "NOT CHECKED: ") && !strings.Contains(report, "No vulnerabilities found.") {
		t.Errorf("the report neither gives a result nor states that nothing was checked:\n%s", report)
	}
	head, err := exec.CommandContext(t.Context(), "git", "rev-parse", "HEAD").Output()
	if err != nil {
		t.Fatal(err)
	}
	program := unpacked(t, folder)
	for _, p := range []string{program, program + "-keeper"} {
		if info := run(t, "go", "version", "-m", p); !strings.Contains(info, "vcs.revision="+string(bytes.TrimSpace(head))) {
			t.Errorf("%s does not name commit %s:\n%s", p, head, info)
		}
	}
	if got := run(t, program, "--version"); !strings.Contains(got, string(head[:12])) {
		t.Errorf("--version prints %s, want commit %s", got, head[:12])
	}
}

// TestReleaseIncludesGuides: the package contains the guides, and every link in
// them leads to a file of the package.
func TestReleaseIncludesGuides(t *testing.T) {
	docs := filepath.Join(filepath.Dir(unpacked(t, released(t))), "../share/doc/bayward")
	links := 0
	for _, name := range []string{"wiring.md", "converters.md", "first-hardware.md", "howto/README.md"} {
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

// vulnerability makes an invented vulnerability database in the published layout
// (https://go.dev/security/vuln/database, from memory). Its one entry applies to this
// function of one package, in every version of a module that is linked in.
func vulnerability(t *testing.T, function string) (url string) {
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

// TestReleaseStopsOnVulnerability: a vulnerable function in the program stops the
// release before any package is built, whatever the flags. A vulnerable function that
// the linker has left out does not. A database that cannot be reached stops it too,
// unless --unchecked is given.
func TestReleaseStopsOnVulnerability(t *testing.T) {
	released(t) // for its skip: this takes as long
	dir := t.TempDir()
	run(t, "git", "clone", "-q", "..", dir)
	for name, text := range map[string]string{"release": readFile(t, "release"), "package/build": "#!/bin/sh\necho building; exit 7\n"} {
		if err := os.WriteFile(filepath.Join(dir, "deploy", name), []byte(text), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	const linked, left, stops, builds = "ByName", "Unregister", 1, 7
	gone := "file://" + filepath.Join(dir, "nothing")
	for _, row := range []struct {
		name, db string
		flags    []string
		code     int
		prints   string
	}{
		{"linked", vulnerability(t, linked), []string{"--unchecked"}, stops, "gpioreg." + linked},
		{"left out", vulnerability(t, left), nil, builds, "building"},
		{"no database", gone, nil, stops, "not checked for known vulnerabilities"},
		{"no database, unchecked", gone, []string{"--unchecked"}, builds, "NOT CHECKED"},
	} {
		t.Run(row.name, func(t *testing.T) {
			folder := t.TempDir()
			cmd := exec.CommandContext(t.Context(), filepath.Join(dir, "deploy/release"), append(append([]string{"--snapshot"}, row.flags...), folder)...)
			cmd.Env = append(os.Environ(), "GOVULNDB="+row.db)
			out, _ := cmd.CombinedOutput()
			if code := cmd.ProcessState.ExitCode(); code != row.code || !strings.Contains(string(out), row.prints) {
				t.Errorf("got %d, want %d and %q:\n%s", code, row.code, row.prints, out)
			}
			if strings.Contains(string(out), "building") != (row.code == builds) {
				t.Errorf("builds: want %t:\n%s", row.code == builds, out)
			}
			if left, err := os.ReadDir(folder); err != nil || len(left) > 0 {
				t.Errorf("left in the folder: %v, %v", left, err)
			}
		})
	}
}

// TestReleaseMaterials checks each bill of materials against the schema of its
// format (CycloneDX, from the format's Go library) and against its program.
func TestReleaseMaterials(t *testing.T) {
	folder := released(t)
	program := unpacked(t, folder)
	chart := regexp.MustCompile(`^/\*!.*\(v([0-9.]+)\)`).FindStringSubmatch(readFile(t, "../agent/web/page/uplot/uplot.js"))
	if chart == nil {
		t.Fatal("the page's chart library does not begin with its version")
	}
	materials(t, folder, program, "bayward", 20, "pkg:npm/uplot@"+chart[1])
	materials(t, folder, program+"-keeper", "bayward-keeper", 1)
}

// TestEmbeddedLibrariesAreNamed: what others wrote and the page embeds has a folder of its own with its
// LICENSE, and the release names it in the bill of materials.
func TestEmbeddedLibrariesAreNamed(t *testing.T) {
	script, folders := readFile(t, "release"), 0
	entries, err := os.ReadDir("../agent/web/page")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !e.IsDir() {
			continue
		}
		folders++
		if readFile(t, filepath.Join("../agent/web/page", e.Name(), "LICENSE")) == "" || !strings.Contains(script, "pkg:npm/"+e.Name()+"@") {
			t.Errorf("agent/web/page/%s is not in the bill of materials", e.Name())
		}
	}
	if folders == 0 {
		t.Error("no embedded library: the search is broken")
	}
}

// materials checks the bill of one program, which has at least so many libraries, and besides them those
// that its page embeds.
func materials(t *testing.T, folder, program, name string, least int, embedded ...string) {
	t.Helper()
	text := readFile(t, only(t, folder, name+"_*.cdx.json"))
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
		t.Errorf("the bill of materials describes %+v", c)
	}
	var linked, named, inPage []string
	for line := range strings.Lines(run(t, "go", "version", "-m", program)) {
		if f := strings.Fields(line); len(f) > 2 && f[0] == "dep" {
			linked = append(linked, f[1]+" "+f[2])
		}
	}
	for _, c := range bill.Components {
		if c.Name == "std" { // the standard library is not a module
			continue
		}
		if strings.HasPrefix(c.PURL, "pkg:npm/") {
			inPage = append(inPage, c.PURL)
			continue
		}
		named = append(named, c.Name+" "+c.Version)
		if c.Type != "library" || !strings.HasPrefix(c.PURL, "pkg:golang/") {
			t.Errorf("%+v is not a Go library", c)
		}
	}
	if !slices.Equal(inPage, embedded) {
		t.Errorf("%s embeds %v, the bill of materials names %v", name, embedded, inPage)
	}
	slices.Sort(linked)
	slices.Sort(named)
	if len(linked) < least || !slices.Equal(linked, named) {
		t.Errorf("linked into the program:\n%v\nlisted:\n%v", linked, named)
	}
}

// billSchema compiles the format's schema from the library cyclonedx-go.
func billSchema(t *testing.T, version string) *jsonschema.Schema {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", "mod", "download", "-json", "github.com/CycloneDX/cyclonedx-go@v0.9.3")
	cmd.Dir = t.TempDir() // outside our module, which must not depend on it
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

// unpacked unpacks the amd64 package and returns the path of its program.
func unpacked(t *testing.T, folder string) string {
	t.Helper()
	dir := t.TempDir()
	run(t, "dpkg-deb", "-x", only(t, folder, "*_amd64.deb"), dir)
	return filepath.Join(dir, "usr/bin/bayward")
}

// run returns the output of a program that must succeed.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}
