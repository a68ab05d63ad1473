package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// aPackage makes one with nothing in it, by the names of Debian's policy.
func aPackage(t *testing.T, version string) string {
	t.Helper()
	root := filepath.Join(t.TempDir(), "root")
	require.NoError(t, os.MkdirAll(filepath.Join(root, "DEBIAN"), 0o755))
	control := "Package: bayward\nVersion: " + version + "\nArchitecture: arm64\nMaintainer: ops <ops@quarry.example>\nDescription: test\n"
	require.NoError(t, os.WriteFile(filepath.Join(root, "DEBIAN/control"), []byte(control), 0o600))
	file := filepath.Join(t.TempDir(), "bayward_"+version+"_arm64.deb")
	tool(t, "dpkg-deb", "--build", "--root-owner-group", root, file)
	return file
}

// aPi is where apt keeps its things for a Pi, with the files that fleet made for it.
type aPi struct {
	t       *testing.T
	options []string
}

func newPi(t *testing.T, root, archive string) *aPi {
	t.Helper()
	state := t.TempDir()
	for _, folder := range []string{"lists/partial", "cache/archives/partial", "parts", "preferences", "trusted"} {
		require.NoError(t, os.MkdirAll(filepath.Join(state, folder), 0o755))
	}
	require.NoError(t, os.WriteFile(filepath.Join(state, "status"), nil, 0o600))
	source := readAll(t, filepath.Join(root, "etc/apt/sources.list.d/bayward.sources"))
	source = strings.Replace(source, "http://packages.quarry.example/bayward", "file:"+archive, 1)
	source = strings.Replace(source, "/etc/apt/keyrings", filepath.Join(root, "etc/apt/keyrings"), 1)
	require.NoError(t, os.WriteFile(filepath.Join(state, "parts/bayward.sources"), []byte(source), 0o600))
	p := &aPi{t: t, options: []string{"-o", "APT::Architecture=arm64", "-o", "APT::Architectures=arm64", "-o", "APT::Sandbox::User=root"}}
	for key, value := range map[string]string{
		"Dir::State": "", "Dir::State::status": "status", "Dir::State::lists": "lists", "Dir::Cache": "cache",
		"Dir::Etc::sourcelist": "none", "Dir::Etc::sourceparts": "parts", "Dir::Etc::preferencesparts": "preferences", "Dir::Etc::trustedparts": "trusted",
	} {
		p.options = append(p.options, "-o", key+"="+filepath.Join(state, value))
	}
	return p
}

// candidate asks apt which version it would install.
func (p *aPi) candidate() string {
	p.t.Helper()
	tool(p.t, "apt-get", append(p.options, "-o", "APT::Update::Error-Mode=any", "update")...)
	for line := range strings.Lines(tool(p.t, "apt-cache", append(p.options, "policy", "bayward")...)) {
		if version, ok := strings.CutPrefix(strings.TrimSpace(line), "Candidate: "); ok {
			return version
		}
	}
	return ""
}

// TestPublish: apt itself takes what was published to its wave and nothing else, and
// nothing whose index was changed by somebody without the key.
func TestPublish(t *testing.T) {
	t.Setenv("GNUPGHOME", t.TempDir())
	require.NoError(t, os.Chmod(os.Getenv("GNUPGHOME"), 0o700))
	t.Cleanup(func() { _ = exec.Command("gpgconf", "--kill", "all").Run() })
	tool(t, "gpg", "--batch", "--passphrase", "", "--quick-generate-key", "archive <ops@quarry.example>", "ed25519", "sign", "never")
	fleet := withArchive(t)
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(fleet), "archive.asc"), []byte(tool(t, "gpg", "--export", "--armor")), 0o600))
	out, archive := filepath.Join(t.TempDir(), "out"), t.TempDir()
	require.NoError(t, os.Chmod(archive, 0o755))
	runs(t, fleet, out, began)
	first, second := newPi(t, filepath.Join(out, "pis/quarry-road/shed-2"), archive), newPi(t, filepath.Join(out, "pis/hill/hut"), archive)

	old, next := aPackage(t, "1.3.0"), aPackage(t, "1.4.0")
	tool(t, "./publish", archive, "1", old)
	tool(t, "./publish", archive, "2", old)
	assert.Equal(t, "1.3.0", first.candidate())
	assert.Equal(t, "1.3.0", second.candidate())
	tool(t, "./publish", archive, "1", next)
	assert.Equal(t, "1.4.0", first.candidate())
	assert.Equal(t, "1.3.0", second.candidate(), "its wave has not come")
	tool(t, "./publish", archive, "2", next)
	assert.Equal(t, "1.4.0", second.candidate())

	// The slips: the wrong wave, what is no package, another package of the same name.
	for args, why := range map[string]string{"10 " + next: "a digit from 1 to 9", "1 publish": "is not a package"} {
		said, err := exec.Command("./publish", append([]string{archive}, strings.Fields(args)...)...).CombinedOutput()
		require.Error(t, err)
		assert.Contains(t, string(said), why)
	}
	other := aPackage(t, "1.4.0")
	bytes, err := os.ReadFile(other)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(other, append(bytes, 0), 0o600))
	said, err := exec.Command("./publish", archive, "1", other).CombinedOutput()
	require.Error(t, err)
	assert.Contains(t, string(said), "with other bytes")
	assert.Equal(t, "1.4.0", first.candidate(), "the wave is as it was")

	// An index that the key did not sign.
	index := filepath.Join(archive, "dists/wave-1/InRelease")
	text := readAll(t, index)
	require.NoError(t, os.WriteFile(index, []byte(strings.Replace(text, "Origin: bayward", "Origin: nobody", 1)), 0o600))
	said, err = exec.Command("apt-get", append(first.options, "-o", "APT::Update::Error-Mode=any", "update")...).CombinedOutput()
	require.Error(t, err, "%s", said)
}
