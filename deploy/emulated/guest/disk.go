//go:build linux

package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"

	"bayward/deploy/emulated/control"
)

// FIFREEZE and FITHAW of linux/fs.h.
const (
	fiFreeze = 0xC0045877
	fiThaw   = 0xC0045878
)

// freeze freezes or thaws the record's file system: whoever writes to it waits.
func freeze(on bool) error {
	f, err := os.Open(control.StateDir)
	if err != nil {
		return err
	}
	defer func() { _ = f.Close() }()
	request := uint(fiThaw)
	if on {
		request = fiFreeze
	}
	if err := unix.IoctlSetInt(int(f.Fd()), request, 0); err != nil {
		return fmt.Errorf("freeze or thaw %s: %w", control.StateDir, err)
	}
	return nil
}

// moveToCard copies the programs to the disk and puts the copies in their place.
func moveToCard() error {
	var errs []error
	for _, program := range []string{control.Binary, control.KeeperBinary} {
		image, err := os.ReadFile(program)
		copied := filepath.Join(control.StateDir, filepath.Base(program))
		if err == nil {
			err = os.WriteFile(copied, image, 0o755)
		}
		if err == nil {
			err = unix.Mount(copied, program, "", unix.MS_BIND, "")
		}
		errs = append(errs, err)
	}
	unix.Sync()
	return errors.Join(errs...)
}

// eject removes the disk's device from its bus, with the file system mounted.
func eject() error {
	device, err := filepath.EvalSymlinks("/sys/block/vda/device")
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(filepath.Dir(device), "remove"), []byte("1"), 0o200)
}
