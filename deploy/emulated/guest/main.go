//go:build linux

// Command guest is /init of the emulated machine. It loads the kernel's
// drivers, plugs in the two I²C adapters that the bench plays, and then does the
// small part of systemd that the packaged units rely on: it starts keeper and agent,
// reads their READY=1 and WATCHDOG=1, kills them when these stop, runs the stop
// action, starts them again, and serves the kernel's watchdog. The bench's orders
// come over a separate connection.
package main

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"bayward/deploy/emulated/control"
)

func main() {
	if slices.Contains(os.Args, underSystemd) {
		if err := serveUnderSystemd(); err != nil {
			say("cannot continue: %v", err)
			os.Exit(1)
		}
		return
	}
	defer halt()
	if os.Getenv("BENCH_ROOT") != "" {
		say("cannot hand over: %v", handOver())
		return
	}
	g, err := boot()
	if err != nil {
		say("cannot continue: %v", err)
		if g != nil {
			g.report(control.Event{Kind: control.Trouble, Error: err.Error()})
			time.Sleep(time.Second) // let the bench read it
		}
		return
	}
	g.dog = openWatchdog()
	g.up()
	g.serve()
}

// up reports that the devices are present.
func (g *guest) up() {
	say("up")
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		say("boot id: %v", err)
	}
	g.report(control.Event{Kind: control.Up, Text: strings.TrimSpace(string(id))})
}

// say writes to the console, for people.
func say(format string, a ...any) {
	up, _ := os.ReadFile("/proc/uptime")
	t, _, _ := strings.Cut(string(up), " ")
	fmt.Fprintf(os.Stdout, "init %s: "+format+"\n", append([]any{t}, a...)...)
}

func halt() {
	unix.Sync()
	_ = unix.Reboot(unix.LINUX_REBOOT_CMD_POWER_OFF)
	select {}
}

// boot brings the machine to the state in which systemd would start the unit. Once
// there is a guest to report an error with, boot returns it with the error.
func boot() (*guest, error) {
	if err := mountKernel(); err != nil {
		return nil, err
	}
	if err := loadModules(); err != nil {
		return nil, err
	}
	g, err := callBench()
	if err != nil {
		return nil, err
	}
	if g.units, err = loadPair(g.report); err != nil {
		return g, err
	}
	if err := mountDisk(); err != nil {
		return g, err
	}
	return g, plugAdapters()
}

// callBench brings up the network and opens the connection for orders.
func callBench() (*guest, error) {
	if err := bringUpNetwork(); err != nil {
		return nil, err
	}
	c, err := net.DialTimeout("tcp", os.Getenv("BENCH_CONTROL"), 20*time.Second)
	if err != nil {
		return nil, fmt.Errorf("reach the bench: %w", err)
	}
	return newGuest(c), nil
}

func mountKernel() error {
	for _, m := range [][2]string{{"proc", "/proc"}, {"sysfs", "/sys"}, {"devtmpfs", "/dev"}, {"tmpfs", "/run"}, {"tmpfs", "/tmp"}} {
		if err := os.MkdirAll(m[1], 0o755); err != nil {
			return err
		}
		if err := unix.Mount(m[0], m[1], m[0], 0, ""); err != nil {
			return fmt.Errorf("mount %s: %w", m[1], err)
		}
	}
	if err := os.MkdirAll(filepath.Dir(control.ConfigPath), 0o755); err != nil {
		return err
	}
	return os.WriteFile("/etc/passwd", []byte(users), 0o644)
}

// users are the user that the programs run as, and the agent's, which the keeper's
// list of lines names.
const users = "root:x:0:0:::\nbayward:x:999:999:::\n"

func loadModules() error {
	list, err := os.ReadFile("/modules/order")
	if err != nil {
		return err
	}
	for _, name := range strings.Fields(string(list)) {
		if err := loadModule(name); err != nil {
			return fmt.Errorf("load module %s: %w", name, err)
		}
	}
	return nil
}

// settings are module parameters. Here each search of the 1-wire bus takes seconds;
// with the kernel's default of ten seconds between searches there would be no time
// to read.
var settings = map[string]string{"wire": "timeout=40"}

func loadModule(name string) error {
	f, err := os.Open("/modules/" + name)
	if err != nil {
		return err
	}
	defer func() { _ = f.Close() }()
	if err := unix.FinitModule(int(f.Fd()), settings[name], 0); err != nil && err != unix.EEXIST {
		return err
	}
	return nil
}

// mountDisk mounts the machine's card. As on a Pi, it survives a power cut; data
// that was not synced does not.
func mountDisk() error {
	if err := waitFor("/dev/vda"); err != nil {
		return err
	}
	if err := os.MkdirAll(control.StateDir, 0o755); err != nil {
		return err
	}
	if err := unix.Mount("/dev/vda", control.StateDir, "ext4", 0, ""); err != nil {
		return fmt.Errorf("mount the disk: %w", err)
	}
	return nil
}

// plugAdapters plugs in the bus of the converters, which becomes bus 1 as on a
// Pi, and then that of the 1-wire bridge, and waits for the thermometers.
func plugAdapters() error {
	for port, env := range []string{"BENCH_I2C", "BENCH_WIRE"} {
		if err := attach(port, os.Getenv(env)); err != nil {
			return fmt.Errorf("plug in adapter %d: %w", port, err)
		}
		if err := waitFor(fmt.Sprintf("/dev/i2c-%d", port+1)); err != nil {
			return err
		}
	}
	if err := os.WriteFile("/sys/bus/i2c/devices/i2c-2/new_device", []byte("ds2482 0x18\n"), 0o200); err != nil {
		return fmt.Errorf("declare the 1-wire bridge: %w", err)
	}
	if err := waitFor("/sys/bus/w1/devices/28-*/temperature"); err != nil || os.Getenv("BENCH_HASTE") == "" {
		return err
	}
	return endSearch()
}

// endSearch stops the kernel's search for thermometers once both are found. On a
// board with a faster clock a search is as slow as on any other, and would leave no
// time to read.
func endSearch() error {
	const both = 2
	for found := 0; found < both; {
		m, _ := filepath.Glob("/sys/bus/w1/devices/28-*") // the pattern is valid
		found = len(m)
		time.Sleep(100 * time.Millisecond)
	}
	return os.WriteFile("/sys/bus/w1/devices/w1_bus_master1/w1_master_search", []byte("0"), 0o200)
}

// virtualUSB is the kernel's virtual USB controller.
const virtualUSB = "/sys/devices/platform/vhci_hcd.0"

// attach hands a connected socket to the kernel's virtual USB controller.
func attach(port int, addr string) error {
	c, err := net.DialTimeout("tcp", addr, 20*time.Second)
	if err != nil {
		return err
	}
	tcp, ok := c.(*net.TCPConn)
	if !ok {
		return fmt.Errorf("%s is not a TCP address", addr)
	}
	f, err := tcp.File() // kept open: the kernel uses it from now on
	if err != nil {
		return err
	}
	if err := unix.SetNonblock(int(f.Fd()), false); err != nil {
		return err
	}
	const bus, fullSpeed = 1 << 16, 2
	line := fmt.Sprintf("%d %d %d %d", port, f.Fd(), bus|(port+2), fullSpeed)
	return os.WriteFile(virtualUSB+"/attach", []byte(line), 0o200)
}

func waitFor(pattern string) error {
	for range 3000 {
		if m, _ := filepath.Glob(pattern); len(m) > 0 {
			return nil
		}
		time.Sleep(20 * time.Millisecond)
	}
	return fmt.Errorf("%s did not appear", pattern)
}
