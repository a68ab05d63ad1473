package bay

import (
	"encoding/json"
	"fmt"
	"hash/crc32"
	"math"
	"slices"
	"time"

	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/water"
)

// packMemoryVersion is the version of PackMemory's shape.
const packMemoryVersion = 1

// PackMemory is the history of a pack that decisions need, to be carried from
// bay to bay. What belongs to the bay stays in its Memory; a latch that a pack
// has brought about goes with the pack and stays at the bay as well, since
// either may be the cause.
type PackMemory struct {
	V       int                 `json:"v"`
	Sum     string              `json:"sum"` // of all the rest, so that damage shows
	Pack    string              `json:"pack"`
	Cells   int                 `json:"cells"`
	Bay     string              `json:"bay"`            // where the pack stood
	Seat    uint64              `json:"seat"`           // how often it was taken up; the higher is the newer
	Left    bool                `json:"left,omitempty"` // it was let go there, which is newer than the same seat without
	Latches map[string]Evidence `json:"latches,omitempty"`
	Charge  charge.Memory       `json:"charge"`
	Water   water.Memory        `json:"water"`
	Cool    *cooldown.Memory    `json:"cool,omitempty"`
	Readied uint64              `json:"readied"`
}

// packLatch tells whether a latch may be the pack's doing.
func packLatch(c interlock.Code) bool {
	return c == interlock.ChargeOverrun || c == interlock.Runaway
}

// packMemory gives the history of the pack that is seated, as of the last step.
func (b *Bay) packMemory(left bool) PackMemory {
	m := PackMemory{
		V: packMemoryVersion, Pack: b.setup.Pack.Name, Cells: b.setup.Pack.Cells, Bay: b.setup.Name,
		Seat: b.who.seat, Left: left, Charge: b.charge.Memory(), Water: b.water.Memory(), Readied: b.pic.Readied,
	}
	if cool, ok := b.cool.Memory(); ok {
		m.Cool = &cool
	}
	for c := range b.ours {
		if b.ours[c] {
			if m.Latches == nil {
				m.Latches = map[string]Evidence{}
			}
			e := b.lock.Standing(interlock.Code(c)).Evidence
			m.Latches[interlock.Code(c).String()] = Evidence{e.Value, e.Limit, uint8(e.Fault), uint8(e.Reason)}
		}
	}
	m.Sum = m.sum()
	return m
}

// PackPart is the history of the pack in a bay's memory, nil when it has none or
// the memory is damaged.
func (m *Memory) PackPart(bayName string) *PackMemory {
	if m.Pack == "" || m.V != memoryVersion || !m.intact() {
		return nil
	}
	p := &PackMemory{
		V: packMemoryVersion, Pack: m.Pack, Cells: m.Cells, Bay: bayName, Seat: m.Seat,
		Charge: m.Charge, Water: m.Water, Cool: m.Cool, Readied: m.Readied,
	}
	for _, name := range m.PackLatches {
		if e, ok := m.Latches[name]; ok {
			if p.Latches == nil {
				p.Latches = map[string]Evidence{}
			}
			p.Latches[name] = e
		}
	}
	p.Sum = p.sum()
	return p
}

// Newer tells whether a history goes on from another one of the same pack.
func (m *PackMemory) Newer(than *PackMemory) bool {
	if than == nil || m.Seat != than.Seat {
		return than == nil || m.Seat > than.Seat
	}
	return m.Left && !than.Left
}

func (m *PackMemory) sum() string {
	bare := *m
	bare.Sum = ""
	text, err := json.Marshal(&bare)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%08x", crc32.ChecksumIEEE(text))
}

func (m *PackMemory) usable(p *Pack) error {
	damaged := fmt.Errorf("%w: the history of pack %s is damaged", ErrMemory, p.Name)
	switch {
	case m.V != packMemoryVersion:
		return fmt.Errorf("%w: the history of pack %s has version %d, this program knows %d", ErrMemory, p.Name, m.V, packMemoryVersion)
	case m.Sum == "" || m.Sum != m.sum():
		return damaged
	case m.Pack != p.Name || m.Cells != p.Cells:
		return fmt.Errorf("%w: it is of pack %q with %d cells, wanted is %q with %d", ErrMemory, m.Pack, m.Cells, p.Name, p.Cells)
	case !m.Charge.Valid() || !m.Water.Valid(p.Cells) || unknownLatch(m.Latches):
		return damaged
	}
	for _, s := range []float64{m.Charge.SinceAgoS, m.Charge.FullAgoS, m.Charge.EndedAgoS, m.Water.BeganAgoS} {
		if math.Abs(s) > time.Duration(maxAge).Seconds() {
			return damaged
		}
	}
	return nil
}

// takeUp gives the pack in place its history. Without one that can be used the
// bay is held until a person has looked: a latch may have been in it.
func (b *Bay) takeUp(m *PackMemory, now, gap time.Duration, proven bool) error {
	b.who.seat = 1
	if m == nil {
		return nil
	}
	b.who.seat = m.Seat + 1
	if err := m.usable(&b.setup.Pack); err != nil {
		b.held, b.forgot = true, true
		return err
	}
	if gap < 0 || gap > maxAge {
		gap, proven = 0, false
	}
	goesOn := !m.Left && m.Bay == b.setup.Name && proven && gap <= doubtAfter
	b.charge.Restore(&m.Charge, now, gap, goesOn)
	b.water.Restore(&m.Water, now, gap)
	b.cool.Restore(m.Cool)
	b.pic.Charge, b.pic.Readied = *b.charge.Status(), m.Readied
	b.latchAgain(m.Latches, now)
	return nil
}

// latchAgain raises what the pack brings along, once for the bay and the pack.
func (b *Bay) latchAgain(latches map[string]Evidence, now time.Duration) {
	if len(latches) > 0 && b.lock == nil {
		b.lock = interlock.New(interlock.Limits{}, now)
	}
	for name, e := range latches {
		c := interlock.Lookup(name)
		b.ours[c] = true
		if !b.lock.Standing(c).Latched {
			b.lock.Restore(c, interlock.Evidence{
				Value: e.Value, Limit: e.Limit, Fault: reading.Fault(e.Fault), Reason: interlock.Reason(e.Reason),
			}, now)
		}
	}
}

// rememberPack stores how the pack in place is known.
func (b *Bay) rememberPack(m *Memory) {
	if !b.several() {
		return
	}
	m.By = b.who.by.String()
	t := b.totals()
	m.Totals = &t
	for c := range b.ours {
		if b.ours[c] {
			m.PackLatches = append(m.PackLatches, interlock.Code(c).String())
		}
	}
}

// restoreSeveral takes back the memory of a bay for several packs. Its pack is
// only taken back where a person has named it and the gap is proven to be short,
// or where an open visit keeps it; a sensor must recognise it anew, which takes
// up its history from the memory's PackPart.
func (b *Bay) restoreSeveral(m *Memory, now, gap time.Duration, proven bool) error {
	if err := m.whole(); err != nil {
		b.doubted = err.Error()
		return err
	}
	b.pic.PermitS, b.pic.BlockedS = m.PermitS, m.BlockedS
	if m.Totals != nil {
		b.before = *m.Totals
	}
	part := m.PackPart(b.setup.Name)
	if part == nil {
		return nil
	}
	named := m.By == ByPerson.String() && proven && gap <= doubtAfter
	i := b.find(m.Pack)
	if i == none || !named && m.Visit == nil || part.Cells != b.setup.Packs[i].Cells {
		return nil
	}
	w := &b.who
	w.at, w.by, w.seenAt, w.leaving = i, BySensor, now, !named
	if m.By == ByPerson.String() {
		w.by = ByPerson
	}
	b.pic.Naming = w.by
	b.place(&b.setup.Packs[i])
	if err := b.takeUp(part, now, gap, proven); err != nil {
		return err
	}
	w.seat = m.Seat // the same seat goes on
	b.atSeat = b.counted()
	return nil
}

// Inherit gives a bay for one pack its history from elsewhere, before the first
// step: the configuration has given it a pack that stood in another bay.
func (b *Bay) Inherit(m *PackMemory, now time.Duration) error {
	if b.started || b.several() {
		return fmt.Errorf("%w: bay %s inherits no history", ErrMemory, b.setup.Name)
	}
	if err := b.takeUp(m, clamped(now), 0, false); err != nil {
		b.doubted = err.Error()
		return err
	}
	return nil
}

// Serves tells whether a pack may stand in the bay.
func (b *Bay) Serves(pack string) bool {
	if !b.several() {
		return pack == b.setup.Pack.Name
	}
	return slices.ContainsFunc(b.setup.Packs, func(p Pack) bool { return p.Name == pack })
}
