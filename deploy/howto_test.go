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

// commandText matches backquoted text that begins like a command, and lines that
// go into a file.
var commandText = regexp.MustCompile("`((?:sudo|bayward|systemctl|findmnt|timedatectl|curl|apt-[a-z]+|deb|Unattended-Upgrade::[A-Za-z-]+::) [^`]*)`")

// TestHowToNamesItsTests: each row of a table of steps names how the step is
// tested. A step marked "probe" is in the package's probe word for word, and every
// file that the page names exists.
func TestHowToNamesItsTests(t *testing.T) {
	text, probe := readFile(t, howTo), readFile(t, "package/probe")
	tested := map[string]int{}
	inSteps := false
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		cells := strings.Split(strings.Trim(line, "| "), " | ")
		by := cells[len(cells)-1]
		switch {
		case !strings.HasPrefix(line, "|"):
			inSteps = false
			if found := commandText.FindString(line); found != "" {
				t.Errorf("a command outside a table of steps: %s", found)
			}
		case by == "tested by":
			inSteps = true
		case !inSteps || strings.HasPrefix(by, "---"):
		case by == "probe":
			tested[by]++
			for _, found := range commandText.FindAllStringSubmatch(line, -1) {
				if !strings.Contains(probe, inMachine.Replace(found[1])) {
					t.Errorf("deploy/package/probe does not run: %s", found[1])
				}
			}
		case by == "by hand", strings.HasPrefix(by, "test: "):
			tested[by]++
		default:
			t.Errorf("the row does not name how it is tested: %s", line)
		}
	}
	if tested["probe"] < 25 || tested["by hand"] > 15 {
		t.Errorf("how steps are tested: %v", tested)
	}
	for _, path := range regexp.MustCompile("`(deploy/[a-z/-]+(?:\\.md)?)[ `]").FindAllStringSubmatch(text, -1) {
		if _, err := os.Stat(filepath.Join("..", path[1])); err != nil {
			t.Errorf("the page names %s, which does not exist", path[1])
		}
	}
}

// onBay matches one of our commands on a bay's configuration, with the words before it.
var onBay = regexp.MustCompile(`((?:[a-z-]+ )*)bayward ([a-z-]+)(?: [a-z-]+)? --config\s+/etc/bayward/bayward.yaml`)

// TestGuidesNameTheUser: only root and the agent's user can read a bay's configuration.
// A command that opens the record or takes the lines runs as the agent's user: the agent
// could not open a file that root made there.
func TestGuidesNameTheUser(t *testing.T) {
	found := 0
	for _, path := range []string{howTo, "wiring.md", "first-hardware.md"} {
		for _, m := range onBay.FindAllStringSubmatch(readFile(t, path), -1) {
			found++
			asAgent := m[1] == "sudo -u bayward "
			if m[2] == "wiring" && !asAgent || m[1] != "sudo " && !asAgent {
				t.Errorf("%s: %s", path, m[0])
			}
		}
	}
	if found < 10 {
		t.Errorf("only %d commands were found", found)
	}
}

// inMachine rewrites a command as it is in the probe, which runs as root on a machine
// without sudo, with the package for amd64.
var inMachine = strings.NewReplacer("sudo -u bayward ", "runuser -u bayward -- ", "sudo ", "", "_arm64.deb", "_amd64.deb")

func readFile(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestHowToBackup runs the archive commands as written, with a folder in place of
// the root: private files are still private after the restore.
func TestHowToBackup(t *testing.T) {
	text, dir := readFile(t, howTo), t.TempDir()
	root, archive := filepath.Join(dir, "root"), filepath.Join(dir, "bay.tar.gz")
	config := filepath.Join(root, "etc/bayward/bayward.yaml")
	for _, folder := range []string{filepath.Dir(config), filepath.Join(root, "etc/credstore"), filepath.Join(root, "var/lib/bayward")} {
		if err := os.MkdirAll(folder, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	for _, path := range []string{config, filepath.Join(root, "var/lib/bayward/backup.db")} {
		if err := os.WriteFile(path, []byte("site: quarry-road\n"), 0o640); err != nil {
			t.Fatal(err)
		}
	}
	run := func(order string) {
		t.Helper()
		found := regexp.MustCompile("`sudo (tar -C / " + order + "z?f? ?[^`]*)`").FindStringSubmatch(text)
		if found == nil {
			t.Fatalf("no tar %s in %s", order, howTo)
		}
		args := strings.Fields(strings.NewReplacer("-C / ", "-C "+root+" ", "bay.tar.gz", archive).Replace(found[1]))
		if out, err := exec.CommandContext(t.Context(), args[0], args[1:]...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v\n%s", args, err, out)
		}
	}
	run("-c")
	if err := os.RemoveAll(root); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(root, 0o755); err != nil {
		t.Fatal(err)
	}
	run("-xp")
	info, err := os.Stat(config)
	if err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("restored: %v, %v", info, err)
	}
}
