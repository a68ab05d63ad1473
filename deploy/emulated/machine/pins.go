package machine

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"strconv"
	"strings"
	"sync"
)

// Registers of a PL061 (ARM DDI 0190): all data bits, and the directions.
const (
	pinsBase = 0x09030000 // its address on the board
	pinsData = pinsBase + 0x3FC
	pinsDir  = pinsBase + 0x400
)

// pins drives and watches the lines of the board's GPIO chip from outside,
// through QEMU's test socket.
type pins struct {
	mu      sync.Mutex // one command at a time
	conn    net.Conn
	replies chan string
	path    string // of the chip
}

type edge struct {
	line int
	high bool
}

// openPins connects to the chip and calls onEdge at each edge of an output, in order. onEdge may be
// slow and may call the machine.
func openPins(ctx context.Context, socket, chip string, onEdge func(line int, high bool)) (*pins, error) {
	c, err := dialSocket(ctx, socket)
	if err != nil {
		return nil, err
	}
	p := &pins{conn: c, replies: make(chan string, 4), path: chip}
	const waiting = 1 << 16 // edges that onEdge has not taken yet
	edges := make(chan edge, waiting)
	go func() {
		for e := range edges {
			onEdge(e.line, e.high)
		}
	}()
	go func() {
		defer close(p.replies)
		defer close(edges)
		for s := bufio.NewScanner(c); s.Scan(); {
			text := s.Text()
			if what, ok := strings.CutPrefix(text, "IRQ "); ok {
				level, number, _ := strings.Cut(what, " ")
				if n, err := strconv.Atoi(number); err == nil {
					edges <- edge{n, level == "raise"}
				}
			} else if !strings.HasPrefix(text, "[") {
				p.replies <- text
			}
		}
	}()
	_, err = p.do("irq_intercept_out " + chip)
	return p, err
}

func (p *pins) do(command string) (string, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if _, err := p.conn.Write([]byte(command + "\n")); err != nil {
		return "", fmt.Errorf("qtest %s: %w", command, err)
	}
	r, ok := <-p.replies
	if !ok {
		return "", fmt.Errorf("qtest %s: QEMU is gone", command)
	}
	if !strings.HasPrefix(r, "OK") {
		return "", fmt.Errorf("qtest %s: %s", command, r)
	}
	return strings.TrimSpace(strings.TrimPrefix(r, "OK")), nil
}

// drive puts a level on a line from outside.
func (p *pins) drive(line int, high bool) error {
	level := 0
	if high {
		level = 1
	}
	_, err := p.do(fmt.Sprintf("set_irq_in %s unnamed-gpio-in %d %d", p.path, line, level))
	return err
}

func (p *pins) register(addr int) (uint8, error) {
	text, err := p.do(fmt.Sprintf("readb 0x%x", addr))
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseUint(strings.TrimPrefix(text, "0x"), 16, 64)
	return uint8(v), err
}
