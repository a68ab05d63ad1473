package w1therm

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
)

// families are the first bytes of the numbers of the thermometers that w1_therm
// supports: DS18S20, DS1822, DS18B20, DS1825, DS28EA00.
var families = []string{"10", "22", "28", "3b", "42"}

// Dev is one thermometer. It keeps no state.
type Dev struct {
	root fs.FS
	id   string
}

// New returns the thermometer with a number, such as "28-0316a2795bff", below root,
// which on a Pi is os.DirFS("/sys/bus/w1/devices"). It does not check whether the
// sensor is there. The error is about the number.
func New(root fs.FS, id string) (*Dev, error) {
	if root == nil {
		return nil, errors.New("w1therm: no folder of 1-wire devices")
	}
	if !IsID(id) {
		return nil, fmt.Errorf("w1therm: %q is not the number of a thermometer, such as 28-0316a2795bff", id)
	}
	return &Dev{root: root, id: id}, nil
}

// IsID reports whether a name has the form of a thermometer's number: two
// hexadecimal digits of a known family, a hyphen and twelve more digits, all in
// lower case.
func IsID(name string) bool {
	family, serial, _ := strings.Cut(name, "-")
	return slices.Contains(families, family) && len(serial) == 12 && strings.Trim(serial, "0123456789abcdef") == ""
}

// List returns the numbers of all thermometers that the kernel has found, sorted.
func List(root fs.FS) ([]string, error) {
	entries, err := fs.ReadDir(root, ".")
	if err != nil {
		return nil, fmt.Errorf("w1therm: list sensors: %w", err)
	}
	var ids []string
	for _, entry := range entries {
		if IsID(entry.Name()) {
			ids = append(ids, entry.Name())
		}
	}
	slices.Sort(ids)
	return ids, nil
}

// String returns the sensor's name, such as "w1therm{28-0316a2795bff}".
func (d *Dev) String() string { return "w1therm{" + d.id + "}" }

// Halt implements conn.Resource; there is nothing to stop.
func (d *Dev) Halt() error { return nil }

// Read starts a conversion and returns its temperature, MinC to MaxC, in the steps
// that the sensor is set to (1/16 K by default). It blocks for the time of the
// conversion or longer; it checks the context only before it starts.
func (d *Dev) Read(ctx context.Context) (physic.Temperature, error) {
	if err := ctx.Err(); err != nil {
		return 0, fmt.Errorf("%s: %w", d, err)
	}
	t, err := d.read()
	if err != nil {
		return 0, fmt.Errorf("%s: %w", d, err)
	}
	return t, nil
}

func (d *Dev) read() (physic.Temperature, error) {
	text, err := d.text("w1_slave")
	if err == nil {
		return Parse(text)
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return 0, fmt.Errorf("%w: %w", ErrUnplugged, err)
	}
	if text, err = d.text("temperature"); err != nil {
		return 0, fmt.Errorf("%w: %w", ErrUnplugged, err)
	}
	return ParseMilli(text)
}

// text reads a file of the sensor. The kernel reports the size of a page for all of
// them, which fs.ReadFile would allocate every second.
func (d *Dev) text(name string) ([]byte, error) {
	f, err := d.root.Open(path.Join(d.id, name))
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }()
	return io.ReadAll(io.LimitReader(f, mostText))
}

// mostText is more than the kernel's driver ever writes, which is two lines of 40
// characters.
const mostText = 512

var _ conn.Resource = (*Dev)(nil)
