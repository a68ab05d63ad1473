// Package exampletest gives tests the shipped example of the configuration, with one
// of its parts replaced by an alternative that the example shows in comments. It
// returns only text, so the tests of agent/config can use it too.
package exampletest

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Example returns the text of deploy/bayward.yaml.
func Example(t testing.TB) string {
	t.Helper()
	for folder := "."; len(folder) < 64; folder = filepath.Join("..", folder) { // from the test's folder upwards
		data, err := os.ReadFile(filepath.Join(folder, "deploy", "bayward.yaml"))
		if err == nil {
			return string(data)
		}
	}
	t.Fatal("there is no deploy/bayward.yaml above the folder of the test")
	return ""
}

// WithLevel returns the example with another kind of level probe.
func WithLevel(t testing.TB, kind string) string {
	t.Helper()
	return with(t, "level", kind, "")
}

// WithCurrent returns the example with another kind of current sensor.
func WithCurrent(t testing.TB, kind string) string {
	t.Helper()
	return with(t, "current", kind, "        adc: 0x49\n")
}

var commented = regexp.MustCompile(`(?m)^ {8}# `)

var alternative = regexp.MustCompile(`^(?: {8}# +(?:- )?[a-z_]+:.*\n)+`)

// with replaces a part by the block of a kind; keep is what the block leaves to the
// reader. The kind already in use returns the example itself.
func with(t testing.TB, part, kind, keep string) string {
	t.Helper()
	example := Example(t)
	block := regexp.MustCompile(`(?m)^      ` + part + `:\n(?:^        .*\n)+`).FindString(example)
	if regexp.MustCompile(`(?m)^        kind: ` + kind + `\b`).MatchString(block) {
		return example
	}
	marker := "        # kind: " + kind + "\n"
	_, after, found := strings.Cut(block, marker)
	lines := alternative.FindString(after)
	if !found || lines == "" {
		t.Fatalf("deploy/bayward.yaml shows no %s of kind %q", part, kind)
	}
	return strings.Replace(example, block,
		"      "+part+":\n"+keep+commented.ReplaceAllString(marker+lines, "        "), 1)
}
