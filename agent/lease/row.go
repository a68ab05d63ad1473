package lease

import (
	"cmp"
	"hash/crc32"
)

// Row names a bay and its lines. Agent and keeper must have the same row, or the
// keeper does not know the bay: a relay that was rewired since the keeper started
// stays open.
type Row struct {
	Bay, Charge, Heartbeat string // without spaces; no heartbeat is ""
}

// String returns the row as it stands in the keeper's list of lines.
func (r Row) String() string { return r.Bay + " " + r.Charge + " " + cmp.Or(r.Heartbeat, "-") }

func (r Row) id() uint32 { return crc32.ChecksumIEEE([]byte(r.String())) }

// Lines returns the names of the row's lines.
func (r Row) Lines() []string {
	if r.Heartbeat == "" {
		return []string{r.Charge}
	}
	return []string{r.Charge, r.Heartbeat}
}
