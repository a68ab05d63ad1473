package bay

import (
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"

	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/water"
)

// memoryVersion is the version of Memory's shape.
const memoryVersion = 1

// Memory is what decisions need after a restart. It is plain data, to be
// stored by whoever runs the core.
type Memory struct {
	V        int                 `json:"v"`
	Sum      string              `json:"sum"` // of all the rest, so that damage shows
	Pack     string              `json:"pack"`
	Cells    int                 `json:"cells"`
	Held     bool                `json:"held,omitempty"`
	Forgot   bool                `json:"forgot,omitempty"` // held since the memory before could not be read
	Visit    *VisitMemory        `json:"visit,omitempty"`
	Latches  map[string]Evidence `json:"latches,omitempty"`
	OrderIDs []string            `json:"order_ids,omitempty"`
	Charge   charge.Memory       `json:"charge"`
	Water    water.Memory        `json:"water"`
	Cool     *cooldown.Memory    `json:"cool,omitempty"` // only estimates rest on it
	PermitS  float64             `json:"permit_s"`
	BlockedS float64             `json:"blocked_s"`
	Readied  uint64              `json:"readied"`
	// Of a bay for several packs. Pack is then "" while none is known.
	Seat        uint64   `json:"seat,omitempty"`         // see PackMemory
	By          string   `json:"by,omitempty"`           // how the pack was known
	PackLatches []string `json:"pack_latches,omitempty"` // latches that are of the pack
	Totals      *Totals  `json:"totals,omitempty"`       // without this pack's own
}

// Evidence is interlock.Evidence as it is stored.
type Evidence struct {
	Value  float64 `json:"value"`
	Limit  float64 `json:"limit"`
	Fault  uint8   `json:"fault"`
	Reason uint8   `json:"reason"`
}

// VisitMemory is an open visit as it is stored.
type VisitMemory struct {
	By              string    `json:"by"`
	AgoS            float64   `json:"ago_s"`
	OnlyCoverPlates bool      `json:"only_cover_plates,omitempty"`
	GivenML         []float64 `json:"given_ml"`
	PilotMM         float64   `json:"pilot_mm"`
	PilotOK         bool      `json:"pilot_ok,omitempty"`
	// What was done besides; absent in memories that were saved before there
	// was any of it.
	Cells   []CellMemory `json:"cells,omitempty"`
	USPerCM *float64     `json:"us_per_cm,omitempty"`
}

// CellMemory is a CellVisit as it is stored.
type CellMemory struct {
	Done      bool     `json:"done,omitempty"`
	LevelMM   *float64 `json:"level_mm,omitempty"`
	LevelLast bool     `json:"level_last,omitempty"`
}

// ErrMemory says that a memory cannot be used; the core then starts without
// what it cannot prove.
var ErrMemory = errors.New("memory cannot be used")

// Memory gives what must survive a restart, as of the last step.
func (b *Bay) Memory() Memory {
	m := Memory{
		V: memoryVersion, Pack: b.setup.Pack.Name, Cells: b.setup.Pack.Cells, Held: b.held, Forgot: b.forgot,
		Charge: b.charge.Memory(), Water: b.water.Memory(),
		PermitS: b.pic.PermitS, BlockedS: b.pic.BlockedS, Readied: b.pic.Readied, Seat: b.who.seat,
	}
	b.rememberPack(&m)
	for c := interlock.NoCode + 1; b.lock != nil && c < interlock.NumCodes; c++ {
		if f := b.lock.Standing(c); f.Latched {
			if m.Latches == nil {
				m.Latches = map[string]Evidence{}
			}
			e := f.Evidence
			m.Latches[c.String()] = Evidence{e.Value, e.Limit, uint8(e.Fault), uint8(e.Reason)}
		}
	}
	if cool, ok := b.cool.Memory(); ok {
		m.Cool = &cool
	}
	if b.several() && b.who.at == none {
		m.Pack, m.Cells, m.Charge, m.Water, m.Cool = "", 0, charge.Memory{}, water.Memory{}, nil
	}
	if v := &b.pic.Visit; v.Open {
		m.Visit = &VisitMemory{
			By: v.By, AgoS: (b.pic.Now - v.Since).Seconds(), OnlyCoverPlates: v.OnlyCoverPlates,
			GivenML: append([]float64{}, v.GivenML[:b.setup.Pack.Cells]...), PilotMM: b.visitMM, PilotOK: b.visitOK,
		}
		m.Visit.remember(v, b.setup.Pack.Cells)
	}
	for i := range b.orders.ids {
		if id := b.orders.ids[(b.orders.next+i)%keptOrders]; id != "" {
			m.OrderIDs = append(m.OrderIDs, id)
		}
	}
	m.Sum = m.sum()
	return m
}

// sum is a CRC-32 over the JSON of everything else; empty, which fits no
// memory, when there is no JSON for it.
func (m *Memory) sum() string {
	bare := *m
	bare.Sum = ""
	text, err := json.Marshal(&bare)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%08x", crc32.ChecksumIEEE(text))
}

func (m *Memory) intact() bool { return m.Sum != "" && m.Sum == m.sum() }

// Restore takes back a memory before the first Step, which will be at now. The
// gap is the time since the memory was saved as far as it can be proven (the
// same boot, by its monotonic clock); unproven means that the machine was off
// for an unknown time. Latches, a hold and an open visit always come back.
// What a gap could have changed does not. The error, if any, wraps ErrMemory;
// the core can be used all the same and says itself that the memory was
// doubted.
func (b *Bay) Restore(m *Memory, now, gap time.Duration, proven bool) error {
	if b.started {
		return fmt.Errorf("%w: the core has already stepped", ErrMemory)
	}
	if gap < 0 || gap > maxAge {
		gap, proven = 0, false
	}
	now = clamped(now)
	b.pic.Now = now
	b.restoreOrders(m, now, gap)
	if b.several() {
		return b.restoreSeveral(m, now, gap, proven)
	}
	if err := m.usable(&b.setup); err != nil {
		b.doubted = err.Error()
		return err
	}
	// In a longer gap the machine may have been at work, or another pack come.
	proven = proven && gap <= doubtAfter
	b.charge.Restore(&m.Charge, now, gap, proven)
	b.water.Restore(&m.Water, now, gap)
	b.cool.Restore(m.Cool)
	b.pic.PermitS, b.pic.BlockedS, b.pic.Readied = m.PermitS, m.BlockedS, m.Readied
	b.who.seat = m.Seat
	if !proven && (m.Charge.Full || m.Charge.Active) {
		b.doubted = "The agent was off for too long or for an unknown time: the pack counts as not full and its rest starts anew."
	}
	return nil
}

// Doubt is for a memory that is there and cannot be read: the first step tells
// why. Since a visit may have been open, a hold or a latch have stood, the bay
// is held until a person takes it back.
func (b *Bay) Doubt(why string) { b.doubted, b.held, b.forgot = why, true, true }

func (m *Memory) usable(s *Setup) error {
	switch {
	case m.V != memoryVersion:
		return m.whole()
	case m.Pack != s.Pack.Name || m.Cells != s.Pack.Cells:
		return fmt.Errorf("%w: it is of pack %q with %d cells, the bay has %q with %d", ErrMemory, m.Pack, m.Cells, s.Pack.Name, s.Pack.Cells)
	case m.whole() != nil:
		return m.whole()
	case !m.Charge.Valid() || !m.Water.Valid(s.Pack.Cells) || m.tooOld():
		return fmt.Errorf("%w: it is damaged", ErrMemory)
	}
	return nil
}

// whole judges what is of the bay.
func (m *Memory) whole() error {
	switch {
	case m.V != memoryVersion:
		return fmt.Errorf("%w: it has version %d, this program knows %d", ErrMemory, m.V, memoryVersion)
	case !m.intact() || !(m.PermitS >= 0 && m.BlockedS >= 0), m.Totals != nil && !(m.Totals.InAh >= 0 && m.Totals.GassingAh >= 0):
		return fmt.Errorf("%w: it is damaged", ErrMemory)
	}
	return nil
}

// maxAge is the greatest age that a memory may hold: with a clock in its range,
// no time that is worked out from it overflows.
const maxAge = 1 << 61

// tooOld tells whether an age cannot be a time of the clock. A time that never
// was counts from the clock's zero, so it may be before that as well.
func (m *Memory) tooOld() bool {
	for _, s := range []float64{m.Charge.SinceAgoS, m.Charge.FullAgoS, m.Charge.EndedAgoS, m.Water.BeganAgoS} {
		if math.Abs(s) > time.Duration(maxAge).Seconds() {
			return true
		}
	}
	return false
}

// restoreOrders takes back what people have ordered and what latched. This is
// done even with a memory that is otherwise not usable, since it can only
// block.
func (b *Bay) restoreOrders(m *Memory, now, gap time.Duration) {
	b.held, b.forgot = m.Held, m.Held && m.Forgot
	for _, id := range m.OrderIDs {
		b.orders.add(id)
	}
	if v := m.Visit; v != nil {
		b.pic.Visit = Visit{Open: true, By: v.By, Since: now - gap - agoOf(v.AgoS), OnlyCoverPlates: v.OnlyCoverPlates}
		copy(b.pic.Visit.GivenML[:], v.GivenML)
		v.recall(&b.pic.Visit)
		b.visitMM, b.visitOK = v.PilotMM, v.PilotOK
	}
	if !m.intact() { // that a visit is open counts, its figures do not
		b.pic.Visit.GivenML, b.visitOK = [water.MaxCells]float64{}, false
	}
	if !m.intact() || m.V != memoryVersion || unknownLatch(m.Latches) {
		b.held, b.forgot = true, true // it may hold what this program does not know
	}
	if len(m.Latches) == 0 {
		return
	}
	b.lock = interlock.New(interlock.Limits{}, now)
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if e, ok := m.Latches[c.String()]; ok {
			b.lock.Restore(c, interlock.Evidence{
				Value: e.Value, Limit: e.Limit, Fault: reading.Fault(e.Fault), Reason: interlock.Reason(e.Reason),
			}, now)
		}
	}
}

func unknownLatch(latches map[string]Evidence) bool {
	for name := range latches {
		if c := interlock.Lookup(name); c == interlock.NoCode || !interlock.Table[c].Latches {
			return true
		}
	}
	return false
}

func agoOf(s float64) time.Duration {
	const most = 1e8 // seconds: three years
	if math.IsNaN(s) || s < 0 || s > most {
		return 0
	}
	return time.Duration(s * float64(time.Second))
}

// relatch moves restored latches into the interlock of this life.
func (b *Bay) relatch(from *interlock.Interlock, now time.Duration) {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if s := from.Standing(c); s.Latched {
			b.lock.Restore(c, s.Evidence, now)
		}
	}
}
