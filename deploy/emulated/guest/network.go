//go:build linux

package main

import (
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unsafe"

	"golang.org/x/sys/unix"

	"bayward/deploy/emulated/control"
)

// bringUpNetwork gives the loopback and both cards their addresses. It identifies
// the cards by the hardware addresses that the bench gave them: one carries the
// adapters and the orders, the other is the site's network, whose cable can be
// pulled.
func bringUpNetwork() error {
	if err := ifconfig("lo", "127.0.0.1", "255.0.0.0"); err != nil {
		return err
	}
	cards := map[string]string{"52:54:00:00:00:01": "10.0.2.15", "52:54:00:00:00:02": "10.0.3.15"}
	found, err := filepath.Glob("/sys/class/net/*")
	if err != nil {
		return err
	}
	slices.Sort(found)
	for _, card := range found {
		mac, _ := os.ReadFile(filepath.Join(card, "address"))
		ip, ok := cards[strings.TrimSpace(string(mac))]
		if !ok {
			continue
		}
		if err := ifconfig(filepath.Base(card), ip, "255.255.255.0"); err != nil {
			return err
		}
		delete(cards, strings.TrimSpace(string(mac)))
	}
	if len(cards) > 0 {
		return fmt.Errorf("network cards are missing: %v", cards)
	}
	return nil
}

// ifreq is the kernel's struct ifreq.
type ifreq struct {
	name [16]byte
	data [24]byte
}

func ifconfig(dev, ip, mask string) error {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM, 0)
	if err != nil {
		return err
	}
	defer func() { _ = unix.Close(fd) }()
	do := func(req uintptr, fill func(*ifreq)) error {
		var r ifreq
		copy(r.name[:], dev)
		fill(&r)
		if _, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), req, uintptr(unsafe.Pointer(&r))); e != 0 {
			return fmt.Errorf("set up %s: request %#x: %w", dev, req, e)
		}
		return nil
	}
	addr := func(s string) func(*ifreq) {
		return func(r *ifreq) {
			binary.NativeEndian.PutUint16(r.data[0:], unix.AF_INET)
			copy(r.data[4:8], net.ParseIP(s).To4())
		}
	}
	if err := do(unix.SIOCSIFADDR, addr(ip)); err != nil {
		return err
	}
	if err := do(unix.SIOCSIFNETMASK, addr(mask)); err != nil {
		return err
	}
	return do(unix.SIOCSIFFLAGS, func(r *ifreq) { binary.NativeEndian.PutUint16(r.data[0:], unix.IFF_UP) })
}

// relayPage makes the page, which listens on the machine's loopback only, available
// on the bench's host.
func relayPage() {
	l, err := net.Listen("tcp", fmt.Sprintf(":%d", control.RelayPort))
	if err != nil {
		say("page: %v", err)
		return
	}
	for {
		c, err := l.Accept()
		if err != nil {
			return
		}
		go func() {
			defer func() { _ = c.Close() }()
			page, err := net.Dial("tcp", control.PageAddr)
			if err != nil {
				return
			}
			defer func() { _ = page.Close() }()
			go func() { _, _ = io.Copy(page, c); _ = page.Close() }()
			_, _ = io.Copy(c, page)
		}()
	}
}
