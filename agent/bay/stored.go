package bay

import (
	"encoding/json"
	"fmt"
	"hash/crc32"
	"math"
	"time"

	"bayward/agent/alive"
	"bayward/agent/ammeter"
	"bayward/agent/cellcount"
	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/water"
)

// memoryVersion is the version of the format of Memory and PackMemory.
const memoryVersion = 1

// MemoryHead identifies a memory. The keys of a memory must keep their order: its
// checksum is over its text, and memories stored earlier must still be accepted.
type MemoryHead struct {
	V     int    `json:"v"`
	Sum   string `json:"sum"` // over all the rest, to detect damage
	Pack  string `json:"pack"`
	Cells int    `json:"cells"`
}

// History is the past of a pack that decisions need, as stored.
type History struct {
	Charge charge.Memory    `json:"charge"`
	Water  water.Memory     `json:"water"`
	Cool   *cooldown.Memory `json:"cool,omitempty"` // only estimates depend on it
	// Alive is of the sensors that stay in the pack, in a bay for several.
	Alive *alive.Memory `json:"alive,omitempty"`
	// CellCount is what the voltage at rest has shown of the number of cells.
	CellCount *cellcount.Memory `json:"cell_count,omitempty"`
}

// Memory is what decisions need after a restart. It is plain data, stored by
// whatever runs the core.
type Memory struct {
	MemoryHead              // Pack is "" while the pack is unknown, in a bay for several
	Held       bool         `json:"held,omitempty"`
	Forgot     bool         `json:"forgot,omitempty"` // held because the earlier memory could not be read
	Visit      *VisitMemory `json:"visit,omitempty"`
	Latches    Latches      `json:"latches,omitempty"`
	OrderIDs   []string     `json:"order_ids,omitempty"`
	History                 // of the pack
	PermitS    float64      `json:"permit_s"`
	BlockedS   float64      `json:"blocked_s"`
	Readied    uint64       `json:"readied"`
	Opened     uint64       `json:"seat,omitempty"` // see PackMemory
	// For a bay that serves several packs.
	By          string   `json:"by,omitempty"`           // how the pack was known
	PackLatches []string `json:"pack_latches,omitempty"` // latches that belong to the pack
	Totals      *Totals  `json:"totals,omitempty"`       // without this pack's own
	// The locks; absent in memories stored before holds had names.
	Holds  []LockMemory `json:"holds,omitempty"`
	LeaveS float64      `json:"leave_s,omitempty"` // what was left of the delay after the last lock
	New    bool         `json:"new,omitempty"`     // held because the bay is not commissioned yet
	// What a restart must not shorten; absent in older memories.
	Raised  Latches `json:"raised,omitempty"`   // findings that are raised and do not latch
	UnseenS float64 `json:"unseen_s,omitempty"` // since the pack's voltage was last read
	SilentS float64 `json:"silent_s,omitempty"` // since the pack's own sensor, or a person, named it
	// BadS is the bad time that findings not raised yet have counted, by name.
	BadS  map[string]float64 `json:"bad_s,omitempty"`
	Clash string             `json:"clash,omitempty"` // why no pack is believed until it is unplugged or named
	// BayAlive is of the bay's own sensors.
	BayAlive *alive.Memory `json:"bay_alive,omitempty"`
	// Meter is of the bay's current sensor.
	Meter *ammeter.Memory `json:"meter,omitempty"`
}

// PackMemory is the history of a pack, carried from bay to bay. What belongs to
// the bay stays in its Memory. A latch that a pack has caused goes with the pack
// and also remains at the bay, because either may be the cause.
type PackMemory struct {
	MemoryHead
	Bay     string  `json:"bay"`            // where the pack was
	Opened  uint64  `json:"seat"`           // how often it has been opened in a bay; the higher is the newer
	Left    bool    `json:"left,omitempty"` // it was closed there: newer than the same number without
	Latches Latches `json:"latches,omitempty"`
	History
	Readied uint64 `json:"readied"`
}

// sum returns the checksum of the memory; "", which never matches, if it has no
// JSON.
func (m *Memory) sum() string {
	bare := *m
	bare.Sum = ""
	return checksum(&bare)
}

func (m *PackMemory) sum() string {
	bare := *m
	bare.Sum = ""
	return checksum(&bare)
}

// checksum is a CRC-32 over the JSON of a memory with an empty sum.
func checksum(bare any) string {
	text, err := json.Marshal(bare)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%08x", crc32.ChecksumIEEE(text))
}

func (m *Memory) intact() bool { return m.Sum != "" && m.Sum == m.sum() }

func (m *PackMemory) intact() bool { return m.Sum != "" && m.Sum == m.sum() }

// known returns an error for a memory of another version of the program.
func (h *MemoryHead) known() error {
	if h.V != memoryVersion {
		return &memoryError{MemoryOtherVersion, fmt.Sprintf("it has version %d, this program knows %d", h.V, memoryVersion)}
	}
	return nil
}

// of returns an error for a memory of another pack.
func (h *MemoryHead) of(p *Pack) error {
	if h.Pack != p.Name || h.Cells != p.Cells {
		return &memoryError{MemoryOtherPack, fmt.Sprintf("it is of pack %q with %d cells, the bay has %q with %d", h.Pack, h.Cells, p.Name, p.Cells)}
	}
	return nil
}

// maxAge is the greatest age that a memory may hold: with a clock in its range,
// no time calculated from it overflows.
const maxAge = 1 << 61

// valid reports whether the history can have been stored for a pack with that
// many cells. A time that never was counts from the clock's zero, so it may be
// before zero too.
func (h *History) valid(cells int) bool {
	for _, s := range []float64{h.Charge.SinceAgoS, h.Charge.FullAgoS, h.Charge.EndedAgoS, h.Water.BeganAgoS} {
		if math.Abs(s) > time.Duration(maxAge).Seconds() {
			return false
		}
	}
	return h.Charge.Valid() && h.Water.Valid(cells) && h.Alive.Valid() && h.CellCount.Valid()
}

// PackPart returns the pack's history from a bay's memory, nil when there is none
// or the memory is damaged.
func (m *Memory) PackPart(bayName string) *PackMemory {
	if m.Pack == "" || m.V != memoryVersion || !m.intact() {
		return nil
	}
	p := &PackMemory{
		MemoryHead: MemoryHead{V: memoryVersion, Pack: m.Pack, Cells: m.Cells}, Bay: bayName, Opened: m.Opened,
		Latches: m.Latches.only(m.PackLatches), History: m.History, Readied: m.Readied,
	}
	p.Sum = p.sum()
	return p
}

// Newer reports whether the history continues another one of the same pack.
func (m *PackMemory) Newer(than *PackMemory) bool {
	if than == nil || m.Opened != than.Opened {
		return than == nil || m.Opened > than.Opened
	}
	return m.Left && !than.Left
}
