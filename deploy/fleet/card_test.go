package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const archiveBlock = `archive:                     # the site's own packages; a version reaches sites in waves
#   url: http://packages.quarry.example/bayward
#   key_file: archive.asc      # public key, beside this file
`

// withArchive is the example with an archive of packages.
func withArchive(t *testing.T) string {
	t.Helper()
	file := changed(t, "# "+archiveBlock, strings.ReplaceAll(archiveBlock, "#   ", "  "))
	key := "-----BEGIN PGP PUBLIC KEY BLOCK-----\n\nx\n-----END PGP PUBLIC KEY BLOCK-----\n"
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(file), "archive.asc"), []byte(key), 0o600))
	return file
}

// userData is what cloud-init reads, by the names of its documentation.
type userData struct {
	Hostname    string
	DisableRoot bool `json:"disable_root"`
	Passwords   bool `json:"ssh_pwauth"`
	Users       []struct {
		Name   string
		Locked bool     `json:"lock_passwd"`
		Keys   []string `json:"ssh_authorized_keys"`
	}
	Files []struct{ Path, Content, Owner, Permissions string } `json:"write_files"`
}

// TestACardHasEveryFile: user data puts each file of the Pi into its place, keys where
// only root reads them, and lets nobody in but who has a key.
func TestACardHasEveryFile(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, withArchive(t), out, began)
	for _, pi := range []string{"quarry-road/shed-2", "quarry-road/shed-3", "hill/hut"} {
		text := readAll(t, filepath.Join(out, "first-boot", pi, "user-data"))
		first, rest, _ := strings.Cut(text, "\n")
		assert.Equal(t, "#cloud-config", first)
		var got userData
		require.NoError(t, json.Unmarshal([]byte(rest), &got))
		assert.Equal(t, filepath.Base(pi), got.Hostname)
		assert.True(t, got.DisableRoot)
		assert.False(t, got.Passwords)
		require.Len(t, got.Users, 1)
		assert.True(t, got.Users[0].Locked)
		require.Len(t, got.Users[0].Keys, 1)

		want := tree(t, filepath.Join(out, "pis", pi))
		for _, f := range got.Files {
			name := strings.TrimPrefix(f.Path, "/")
			if strings.Contains(name, "first-boot") {
				continue
			}
			assert.Equal(t, want[name], f.Content, f.Path)
			if strings.Contains(f.Content, "PRIVATE KEY") || strings.Contains(f.Content, "pin_hash") {
				assert.Equal(t, "0600", f.Permissions, f.Path)
			}
			delete(want, name)
		}
		assert.Empty(t, want, "files that the card lacks")
	}
	assert.Contains(t, readAll(t, filepath.Join(out, "pis/hill/hut/etc/apt/sources.list.d/bayward.sources")), "\nSuites: wave-2\n")
	assert.Contains(t, readAll(t, filepath.Join(out, "pis/quarry-road/shed-2/etc/apt/sources.list.d/bayward.sources")), "\nSuites: wave-1\n")
}

// TestCloudInitTakesTheCard asks cloud-init's own check, where there is one.
func TestCloudInitTakesTheCard(t *testing.T) {
	program, err := exec.LookPath("cloud-init")
	if err != nil {
		t.Skip("cloud-init is not installed: it would take over the machine at its next start")
	}
	out := filepath.Join(t.TempDir(), "out")
	runs(t, withArchive(t), out, began)
	said := tool(t, program, "schema", "--config-file", filepath.Join(out, "first-boot/hill/hut/user-data"))
	assert.Contains(t, said, "Valid")
}

// TestFirstBoot runs the script of a card with programs that only write down how they
// were called: it comes to an end without the network once the package is there, and not
// before.
func TestFirstBoot(t *testing.T) {
	script, err := filepath.Abs("first-boot")
	require.NoError(t, err)
	for _, c := range []struct {
		name, fails string
		card        bool // the package is on the card
		ends        bool
		installs    string
	}{
		{"from the archive", "", false, true, "bayward systemd-journal-remote unattended-upgrades"},
		{"without a network", "apt-get", false, false, ""},
		{"from the card", "", true, true, "bayward_1_arm64.deb systemd-journal-remote unattended-upgrades"},
		{"with an archive that is out of reach", "update", true, true, "bayward_1_arm64.deb systemd-journal-remote unattended-upgrades"},
	} {
		t.Run(c.name, func(t *testing.T) {
			root, boot, bin := t.TempDir(), t.TempDir(), t.TempDir()
			log := filepath.Join(root, "log")
			for _, name := range []string{"apt-get", "systemctl", "chown", "dpkg"} {
				fake := "#!/bin/sh\necho " + name + " \"$@\" >>" + log + "\n"
				switch {
				case name == "dpkg":
					fake += "echo arm64\n"
				case name == c.fails:
					fake += "exit 1\n"
				case name == "apt-get" && c.fails == "update":
					fake += "case \" $* \" in *' update '*) exit 1 ;; esac\n"
				}
				require.NoError(t, os.WriteFile(filepath.Join(bin, name), []byte(fake), 0o700))
			}
			for _, name := range []string{"etc/bayward/mqtt-key.pem", "etc/bayward-logs/log-key.pem", "etc/apt/sources.list.d/bayward.sources", "etc/cloud/cloud.cfg"} {
				path := filepath.Join(root, name)
				require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
				require.NoError(t, os.WriteFile(path, []byte("x"), 0o600))
			}
			config := filepath.Join(boot, "config.txt")
			require.NoError(t, os.WriteFile(config, []byte("arm_64bit=1\n"), 0o600))
			require.NoError(t, os.WriteFile(filepath.Join(boot, "user-data"), []byte("secret"), 0o600))
			if c.card {
				require.NoError(t, os.WriteFile(filepath.Join(boot, "bayward_1_arm64.deb"), nil, 0o600))
				require.NoError(t, os.WriteFile(filepath.Join(boot, "bayward_1_armhf.deb"), nil, 0o600))
			}
			for range 2 { // the unit may start it again
				cmd := exec.CommandContext(t.Context(), script)
				cmd.Env = []string{"PATH=" + bin + ":/usr/bin:/bin", "BAYWARD_ROOT=" + root, "BAYWARD_BOOT=" + boot}
				said, err := cmd.CombinedOutput()
				assert.Equal(t, c.ends, err == nil, "%s", said)
			}
			calls := readAll(t, log)
			assert.Equal(t, "arm_64bit=1\n\n[all]\n# bayward\ndtparam=i2c_arm=on\ndtoverlay=w1-gpio\ndtparam=strict_gpiod\n", readAll(t, config), "once")
			if !c.ends {
				assert.FileExists(t, filepath.Join(boot, "user-data"), "it begins again at the next try")
				assert.NotContains(t, calls, "systemctl")
				return
			}
			assert.Contains(t, strings.ReplaceAll(calls, boot+"/", ""), "--force-confold install "+c.installs+"\n")
			assert.Contains(t, calls, "chown -R root:bayward "+root+"/etc/bayward\n")
			assert.NoFileExists(t, filepath.Join(boot, "user-data"))
			assert.FileExists(t, filepath.Join(root, "etc/cloud/cloud-init.disabled"))
			for _, name := range []string{"etc/bayward/mqtt-key.pem", "etc/bayward-logs/log-key.pem"} {
				info, err := os.Stat(filepath.Join(root, name))
				require.NoError(t, err)
				assert.Equal(t, os.FileMode(0o640), info.Mode().Perm(), name)
			}
			assert.Equal(t, 1, strings.Count(calls, "systemctl --no-block reboot"), "only for the new lines of config.txt")
		})
	}
}
