// Package machine runs one emulated board under QEMU: a stock Debian arm64
// kernel with an init and the program under test, a disk, two network cards, a
// hardware watchdog, and GPIO lines that the outside drives and watches.
package machine

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"time"
)

// Options are what a machine is made of.
type Options struct {
	Qemu   string            // program; "" is qemu-system-aarch64
	Kernel string            // folder of an unpacked linux-image package
	Init   string            // arm64 binary
	Root   string            // image of a Debian root that the init hands over to; the guest writes to it
	Stick  string            // folder whose files are put on the first disk; "" leaves it empty
	Files  map[string]string // more of the guest's files, all executable: path there to path here
	Dir    string            // for sockets and images; the path must be short enough for a socket
	// Lines names the lines of the GPIO chip, number 0 first; "" for none.
	// Line 3 is the board's power key.
	Lines [8]string
	// Env is given to the init.
	Env map[string]string
	// Pace is how many seconds pass in the guest per second outside: its kernel takes the
	// board's counter to be this much slower, below 1 faster. 0 means 1.
	Pace float64
	// PagePort of the host is forwarded to GuestPort of the guest; 0 for none.
	PagePort, GuestPort int
	// Console gets the guest's serial output.
	Console io.Writer
	// OnEdge is called at each edge of an output line, OnEvent at each event of
	// QEMU, such as WATCHDOG or RESET; OnEvent must not call the machine.
	OnEdge  func(line int, high bool)
	OnEvent func(name string)
}

// Machine is a running board. Close it.
type Machine struct {
	o    Options
	cmd  *exec.Cmd
	mon  *monitor
	pins *pins
	done chan struct{}
}

// Start makes a new disk and switches the board on. It does not wait for the
// guest.
func Start(ctx context.Context, o Options) (*Machine, error) {
	if o.Qemu == "" {
		o.Qemu = "qemu-system-aarch64"
	}
	m := &Machine{o: o, done: make(chan struct{})}
	for what, prepare := range map[string]func(context.Context) error{
		"initramfs": func(ctx context.Context) error { return writeInitramfs(ctx, m.file("initramfs"), &m.o) },
		"disk":      m.makeDisk, "device tree": m.makeTree,
	} {
		if err := prepare(ctx); err != nil {
			return nil, fmt.Errorf("make the %s: %w", what, err)
		}
	}
	if err := m.launch(); err != nil {
		return nil, err
	}
	if err := m.connect(ctx); err != nil {
		return nil, errors.Join(err, m.Close())
	}
	return m, nil
}

func (m *Machine) file(name string) string { return filepath.Join(m.o.Dir, name) }

// quietly runs a program of the host and returns its output only in an error.
func quietly(ctx context.Context, name string, args ...string) error {
	out, err := exec.CommandContext(ctx, name, args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w: %s", name, err, out)
	}
	return nil
}

// makeDisk makes an empty card with a file system.
func (m *Machine) makeDisk(ctx context.Context) error {
	const size = 128 << 20
	f, err := os.Create(m.file("disk"))
	if err != nil {
		return err
	}
	if err := errors.Join(f.Truncate(size), f.Close()); err != nil {
		return err
	}
	args := []string{"-q", "-t", "ext4", "-F"}
	if m.o.Stick != "" {
		args = append(args, "-d", m.o.Stick)
	}
	return quietly(ctx, "/sbin/mke2fs", append(args, m.file("disk"))...)
}

// makeTree writes the board's device tree, with the GPIO lines named as on a Pi. The
// alias makes the first bus that a driver adds number 1.
func (m *Machine) makeTree(ctx context.Context) error {
	const pl061 = "/pl061@9030000"
	tree := m.file("tree")
	if err := quietly(ctx, m.o.Qemu, append(board("dumpdtb="+tree), "-nodefaults", "-nographic")...); err != nil {
		return err
	}
	names := append([]string{"-t", "s", tree, pl061, "gpio-line-names"}, m.o.Lines[:]...)
	_ = quietly(ctx, "fdtput", "-c", tree, "/aliases") // some versions already have it
	err := errors.Join(
		quietly(ctx, "fdtput", names...),
		quietly(ctx, "fdtput", "-t", "s", tree, "/aliases", "i2c0", pl061))
	if m.o.Pace != 0 && m.o.Pace != 1 {
		// Documentation/devicetree/bindings/timer/arm,arch_timer.yaml: this
		// overrides the rate that the counter itself reports.
		err = errors.Join(err, quietly(ctx, "fdtput", "-t", "i", tree, "/timer", "clock-frequency", strconv.Itoa(int(counterHz/m.o.Pace))))
	}
	return err
}

// counterHz is the rate of the emulated processor's counter.
const counterHz = 62_500_000

func board(extra string) []string {
	const kind = "virt"
	if extra != "" {
		extra = "," + extra
	}
	return []string{"-M", kind + extra, "-cpu", "cortex-a57", "-m", "384", "-smp", "2"}
}

func (m *Machine) launch() error {
	images, err := filepath.Glob(filepath.Join(m.o.Kernel, "boot/vmlinuz-*"))
	if err != nil || len(images) != 1 {
		return fmt.Errorf("no single kernel in %s/boot", m.o.Kernel)
	}
	page := ""
	if m.o.PagePort != 0 {
		page = fmt.Sprintf(",hostfwd=tcp:127.0.0.1:%d-:%d", m.o.PagePort, m.o.GuestPort)
	}
	line := "console=ttyAMA0 loglevel=4 panic=-1"
	if m.o.Root != "" {
		line += " systemd.show_status=false systemd.getty_auto=false" // the console is the bench's
	}
	for k, v := range m.o.Env {
		line += " " + k + "=" + v
	}
	args := append(board(""), "-accel", "tcg,thread=multi", "-nodefaults", "-nographic",
		"-kernel", images[0], "-initrd", m.file("initramfs"), "-dtb", m.file("tree"), "-append", line,
		"-serial", "stdio",
		"-drive", "if=none,id=disk,format=raw,cache=writethrough,file="+m.file("disk"), "-device", "virtio-blk-pci,drive=disk",
		"-netdev", "user,id=bench,net=10.0.2.0/24"+page, "-device", "virtio-net-pci,netdev=bench,mac=52:54:00:00:00:01,romfile=",
		"-netdev", "user,id=site,net=10.0.3.0/24,host=10.0.3.2", "-device", "virtio-net-pci,netdev=site,id=card,mac=52:54:00:00:00:02,romfile=",
		"-device", "i6300esb", "-watchdog-action", "reset",
		"-qmp", "unix:"+m.file("qmp")+",server=on,wait=off",
		"-qtest", "unix:"+m.file("qtest")+",server=on,wait=off", "-qtest-log", "none")
	// After the other disk, which stays the first. The guest's writes survive a power cut of the board
	// in the host's memory, so none has to wait for a disk.
	if m.o.Root != "" {
		args = append(args, "-drive", "if=none,id=root,format=raw,cache=unsafe,file="+m.o.Root, "-device", "virtio-blk-pci,drive=root")
	}
	m.cmd = exec.CommandContext(context.Background(), m.o.Qemu, args...)
	m.cmd.Stderr = m.o.Console
	out, err := m.cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := m.cmd.Start(); err != nil {
		return fmt.Errorf("start QEMU: %w", err)
	}
	go func() {
		defer close(m.done)
		for s := bufio.NewScanner(out); s.Scan(); {
			fmt.Fprintln(m.o.Console, s.Text())
		}
	}()
	return nil
}

func (m *Machine) connect(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	var err error
	if m.mon, err = openMonitor(ctx, m.file("qmp"), m.o.OnEvent); err != nil {
		return err
	}
	chip, err := m.mon.find("pl061")
	if err != nil {
		return err
	}
	m.pins, err = openPins(ctx, m.file("qtest"), chip, m.o.OnEdge)
	return err
}

// PID returns the emulator's process.
func (m *Machine) PID() int { return m.cmd.Process.Pid }

// Drive puts a level on an input line from outside.
func (m *Machine) Drive(line int, high bool) error { return m.pins.drive(line, high) }

// Outputs returns which lines the guest drives, and to which level: bit n is line
// n.
func (m *Machine) Outputs() (driven, high uint8, err error) {
	driven, err = m.pins.register(pinsDir)
	if err != nil {
		return 0, 0, err
	}
	high, err = m.pins.register(pinsData)
	return driven, driven & high, err
}

// PowerCut interrupts the board's power: the guest loses its memory and boots again
// with the same disk.
func (m *Machine) PowerCut() error {
	_, err := m.mon.do("system_reset", nil)
	return err
}

// Cable plugs the site's network cable in or pulls it.
func (m *Machine) Cable(in bool) error {
	_, err := m.mon.do("set_link", map[string]any{"name": "card", "up": in})
	return err
}

// Close ends the emulator.
func (m *Machine) Close() error {
	if err := m.cmd.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	<-m.done
	_ = m.cmd.Wait() // it was killed
	return nil
}
