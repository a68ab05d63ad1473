package deploy_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

const howTo = "howto/README.md"

// commandText finds the texts between backquotes that begin like a command.
var commandText = regexp.MustCompile("`((?:sudo |bayward |systemctl |findmnt |timedatectl |curl |apt-get )[^`]*)`")

// TestHowToSaysHowItIsKnown: each row with a command names its test or says that
// it needs hands, and the tests that are named are there.
func TestHowToSaysHowItIsKnown(t *testing.T) {
	text, err := os.ReadFile(howTo)
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		if !strings.HasPrefix(line, "| ") || !commandText.MatchString(line) {
			continue
		}
		rows++
		cells := strings.Split(strings.Trim(line, "| "), " | ")
		by := cells[len(cells)-1]
		if by != "hands" && by != "the same" && by != "as there" && !strings.HasPrefix(by, "test: ") && !strings.HasPrefix(by, "see `") {
			t.Errorf("how is it known? %s", line)
		}
	}
	if rows < 15 {
		t.Errorf("only %d rows with a command were found: the search is broken", rows)
	}
	for _, path := range regexp.MustCompile("`(deploy/[a-z/-]+(?:\\.md)?)[ `]").FindAllStringSubmatch(string(text), -1) {
		if _, err := os.Stat(filepath.Join("..", path[1])); err != nil {
			t.Errorf("%s is named and not there", path[1])
		}
	}
}

// TestHowToBackup runs the archive commands as they are written, below a folder
// in the place of the root: what was private comes back private.
func TestHowToBackup(t *testing.T) {
	text, err := os.ReadFile(howTo)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	root, archive := filepath.Join(dir, "root"), filepath.Join(dir, "bay.tar.gz")
	config := filepath.Join(root, "etc/bayward/bayward.yaml")
	for _, folder := range []string{filepath.Dir(config), filepath.Join(root, "etc/credstore")} {
		if err := os.MkdirAll(folder, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(config, []byte("site: quarry-road\n"), 0o640); err != nil {
		t.Fatal(err)
	}
	run := func(order string) {
		t.Helper()
		found := regexp.MustCompile("`sudo (tar -C / " + order + "z?f? ?[^`]*)`").FindStringSubmatch(string(text))
		if found == nil {
			t.Fatalf("no tar %s in %s", order, howTo)
		}
		args := strings.Fields(strings.NewReplacer("-C / ", "-C "+root+" ", "bay.tar.gz", archive).Replace(found[1]))
		if out, err := exec.CommandContext(t.Context(), args[0], args[1:]...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v\n%s", args, err, out)
		}
	}
	run("-c")
	if err := os.RemoveAll(filepath.Join(root, "etc")); err != nil {
		t.Fatal(err)
	}
	run("-xp")
	info, err := os.Stat(config)
	if err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("restored: %v, %v", info, err)
	}
}
