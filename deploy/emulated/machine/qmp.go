package machine

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"sync"
	"time"
)

// dialSocket connects to a socket that QEMU is about to make.
func dialSocket(ctx context.Context, path string) (net.Conn, error) {
	var d net.Dialer
	for {
		c, err := d.DialContext(ctx, "unix", path)
		if err == nil {
			return c, nil
		}
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("reach QEMU: %w", err)
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// monitor is QEMU's management socket (QMP).
type monitor struct {
	mu      sync.Mutex // one command at a time
	conn    net.Conn
	replies chan reply
}

type reply struct {
	Return json.RawMessage `json:"return"`
	Error  *struct {
		Desc string `json:"desc"`
	} `json:"error"`
	Event    string          `json:"event"`
	Greeting json.RawMessage `json:"QMP"`
}

// openMonitor connects to QEMU and calls onEvent with the name of each event, in
// order.
func openMonitor(ctx context.Context, path string, onEvent func(string)) (*monitor, error) {
	c, err := dialSocket(ctx, path)
	if err != nil {
		return nil, err
	}
	m := &monitor{conn: c, replies: make(chan reply, 4)}
	go func() {
		defer close(m.replies)
		for d := json.NewDecoder(c); ; {
			var r reply
			if d.Decode(&r) != nil {
				return
			}
			switch {
			case r.Event != "":
				onEvent(r.Event)
			case r.Greeting == nil:
				m.replies <- r
			}
		}
	}()
	_, err = m.do("qmp_capabilities", nil)
	return m, err
}

func (m *monitor) do(command string, arguments any) (json.RawMessage, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	order := map[string]any{"execute": command}
	if arguments != nil {
		order["arguments"] = arguments
	}
	if err := json.NewEncoder(m.conn).Encode(order); err != nil {
		return nil, fmt.Errorf("QMP %s: %w", command, err)
	}
	r, ok := <-m.replies
	if !ok {
		return nil, fmt.Errorf("QMP %s: QEMU is gone", command)
	}
	if r.Error != nil {
		return nil, fmt.Errorf("QMP %s: %s", command, r.Error.Desc)
	}
	return r.Return, nil
}

// find returns the object path of the first device of a type.
func (m *monitor) find(kind string) (string, error) {
	const root = "/machine/unattached"
	raw, err := m.do("qom-list", map[string]string{"path": root})
	if err != nil {
		return "", err
	}
	var list []struct{ Name, Type string }
	if err := json.Unmarshal(raw, &list); err != nil {
		return "", err
	}
	for _, e := range list {
		if e.Type == "child<"+kind+">" {
			return root + "/" + e.Name, nil
		}
	}
	return "", fmt.Errorf("the machine has no %s", kind)
}
