package main

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestAnsibleReadsTheInventory: Ansible itself finds each Pi with its address and files, by wave and by site, and
// takes the playbook.
func TestAnsibleReadsTheInventory(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	file := filepath.Join(out, "inventory.yaml")
	for pattern, want := range map[string][]string{
		"pis":           {"shed-2.quarry-road", "shed-3.quarry-road", "hut.hill"},
		"wave_1":        {"shed-2.quarry-road", "shed-3.quarry-road"},
		"wave_2":        {"hut.hill"},
		"*.quarry-road": {"shed-2.quarry-road", "shed-3.quarry-road"},
	} {
		first, hosts, _ := strings.Cut(tool(t, "ansible", "-i", file, pattern, "--list-hosts"), "\n")
		assert.Contains(t, first, "hosts")
		assert.ElementsMatch(t, want, strings.Fields(hosts), pattern)
	}
	said := tool(t, "ansible", "-i", file, "-c", "local", "hut.hill", "-m", "ansible.builtin.debug", "-a", "msg={{ ansible_user }}@{{ ansible_host }}:{{ bayward_files }}")
	assert.Contains(t, said, "yard@hut.hill.quarry.example:"+filepath.Join(out, "pis/hill/hut")+"\"")
	assert.FileExists(t, filepath.Join(out, "pis/hill/hut/etc/bayward/bayward.yaml"))
	tool(t, "ansible-playbook", "-i", file, "--syntax-check", "ansible/pis.yaml")
}
