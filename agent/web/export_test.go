package web

import "net"

// Admit lets a test bring a connection to a door: nil if there is no seat for it. busy
// begins a request on it, and idle ends one.
func (d *Door) Admit(c net.Conn) (admitted net.Conn, busy, idle func()) {
	s := d.admit(c)
	if s == nil {
		return nil, nil, nil
	}
	return s, func() { d.serve(s, +1) }, func() { d.serve(s, -1) }
}
