package machine

import (
	"bytes"
	"context"
	"debug/elf"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// cpio writes a "newc" archive (kernel Documentation/driver-api/early-userspace/buffer-format.rst).
type cpio struct {
	bytes.Buffer
	inode int
}

func (c *cpio) add(name string, mode uint32, data []byte) {
	c.inode++
	fmt.Fprintf(c, "070701%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X",
		c.inode, mode, 0, 0, 1, 0, len(data), 0, 0, 0, 0, len(name)+1, 0)
	c.WriteString(name + "\x00")
	c.pad()
	c.Write(data)
	c.pad()
}

// addFolders adds the folders of a file; existing ones stay.
func (c *cpio) addFolders(name string) {
	for i, r := range name {
		if r == '/' {
			c.add(name[:i], 0o040755, nil)
		}
	}
}

func (c *cpio) pad() {
	for c.Len()%4 != 0 {
		c.WriteByte(0)
	}
}

// modules are a kernel's loadable parts.
type modules struct {
	where   map[string]string // name with underscores to file
	builtin map[string]bool
	order   []string // for loading, dependencies first
	files   map[string][]byte
}

func plainModule(name string) string { return strings.ReplaceAll(name, "-", "_") }

// findModules lists the modules below a folder.
func findModules(root string) (*modules, error) {
	m := &modules{where: map[string]string{}, builtin: map[string]bool{}, files: map[string][]byte{}}
	err := filepath.WalkDir(root, func(p string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if name, ok := strings.CutSuffix(strings.TrimSuffix(filepath.Base(p), ".xz"), ".ko"); ok {
			m.where[plainModule(name)] = p
		}
		if filepath.Base(p) != "modules.builtin" {
			return nil
		}
		list, err := os.ReadFile(p)
		for line := range strings.FieldsSeq(string(list)) {
			m.builtin[plainModule(strings.TrimSuffix(filepath.Base(line), ".ko"))] = true
		}
		return err
	})
	return m, err
}

// want adds a module, after those that it depends on.
func (m *modules) want(ctx context.Context, name string) error {
	name = plainModule(name)
	if _, done := m.files[name]; done || name == "" || m.builtin[name] {
		return nil
	}
	path, ok := m.where[name]
	if !ok {
		return fmt.Errorf("the kernel has no module %s", name)
	}
	image, err := readModule(ctx, path)
	if err != nil {
		return err
	}
	m.files[name] = image
	needs, err := dependencies(image)
	if err != nil {
		return fmt.Errorf("module %s: %w", name, err)
	}
	for _, need := range needs {
		if err := m.want(ctx, need); err != nil {
			return err
		}
	}
	m.order = append(m.order, name)
	return nil
}

// readModule reads a module and unpacks it if Debian compressed it.
func readModule(ctx context.Context, path string) ([]byte, error) {
	if !strings.HasSuffix(path, ".xz") {
		return os.ReadFile(path)
	}
	image, err := exec.CommandContext(ctx, "xz", "-dc", path).Output()
	if err != nil {
		return nil, fmt.Errorf("unpack %s: %w", path, err)
	}
	return image, nil
}

// dependencies reads the list of dependencies in a module.
func dependencies(image []byte) ([]string, error) {
	e, err := elf.NewFile(bytes.NewReader(image))
	if err != nil {
		return nil, err
	}
	section := e.Section(".modinfo")
	if section == nil {
		return nil, fmt.Errorf("no .modinfo section")
	}
	info, err := section.Data()
	if err != nil {
		return nil, err
	}
	for entry := range bytes.SplitSeq(info, []byte{0}) {
		if list, ok := strings.CutPrefix(string(entry), "depends="); ok && list != "" {
			return strings.Split(list, ","), nil
		}
	}
	return nil, nil
}

// writeInitramfs packs the init, the files under test and the modules for the
// machine's devices.
func writeInitramfs(ctx context.Context, out string, o *Options) error {
	m, err := findModules(filepath.Join(o.Kernel, "lib/modules"))
	if err != nil {
		return fmt.Errorf("find the kernel's modules: %w", err)
	}
	for _, name := range drivers {
		if err := m.want(ctx, name); err != nil {
			return err
		}
	}
	var c cpio
	for _, folder := range []string{"dev", "proc", "sys", "run", "tmp", "etc", "etc/bayward", "var", "var/lib", "usr", "usr/bin", "modules", "newroot"} {
		c.add(folder, 0o040755, nil)
	}
	for _, name := range m.order {
		c.add("modules/"+name, 0o100644, m.files[name])
	}
	c.add("modules/order", 0o100644, []byte(strings.Join(m.order, "\n")))
	image, err := os.ReadFile(o.Init)
	if err != nil {
		return err
	}
	c.add("init", 0o100755, image)
	for name, path := range o.Files {
		image, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		c.addFolders(name)
		c.add(name, 0o100755, image)
	}
	c.add("TRAILER!!!", 0, nil)
	return os.WriteFile(out, c.Bytes(), 0o600)
}

// drivers are the modules of the machine's devices. ext4 lists its dependencies,
// except its checksum, which it looks up by name.
var drivers = [...]string{
	"virtio_pci", "virtio_net", "virtio_blk", "crc32c_generic", "ext4",
	"i2c-dev", "vhci-hcd", "i2c-tiny-usb", "ds2482", "w1_therm", "i6300esb",
}
