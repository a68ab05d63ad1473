package bay_test

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// tape reads numbers from a fuzzer's bytes; past the end all are zero.
type tape []byte

func (b *tape) byte() byte {
	if len(*b) == 0 {
		return 0
	}
	x := (*b)[0]
	*b = (*b)[1:]
	return x
}

func (b *tape) float() float64 {
	var raw [8]byte
	for i := range raw {
		raw[i] = b.byte()
	}
	return math.Float64frombits(binary.LittleEndian.Uint64(raw[:]))
}

// change corrupts one reading with an arbitrary value and fault.
func (b *tape) change(r *bay.Readings) {
	which, fault, value := b.byte(), reading.Fault(b.byte()), b.float()
	all := baytest.Places(r)
	if int(which) < len(all) {
		all[which].Value, all[which].Fault = value, fault
		return
	}
	r.Level.LowMM, r.Level.HighMM, r.Level.Fault = value, b.float(), fault
}

func (b *tape) order() order.Order {
	return order.Order{
		ID: string(rune(b.byte())), Kind: order.Kind(b.byte()), By: "a person", Cell: int(int8(b.byte())),
		ML: b.float(), Gravity: b.float(), AtC: b.float(), LevelMM: b.float(),
	}
}

var spans = []time.Duration{time.Second, time.Millisecond, 10 * time.Second, time.Minute, time.Hour, 24 * time.Hour, -time.Hour, math.MaxInt64, math.MinInt64}

func goodReadings(setup *bay.Setup) bay.Readings {
	var r bay.Readings
	g := func(v float64) reading.Reading { return reading.Good(v, 0) }
	r.PackV, r.CurrentA, r.PackC, r.AmbientC = g(2.1*float64(setup.Pack.Cells)), g(0), g(25), g(25)
	baytest.Fill(&r, 0)
	r.Level = reading.LevelBetween(9, 9, 0)
	return r
}

func fuzzSetup() bay.Setup {
	s := baytest.Every(baytest.Setup("bay-1"))
	s.Fan.SeenOff = true // or a memory could grant more by knowing it
	return s
}

// FuzzStep feeds the core arbitrary readings, times and orders. It must not crash
// or grant against the oracle, and its view must always be valid JSON.
func FuzzStep(f *testing.F) {
	f.Add([]byte{0x40, 0, 0x41, 8, 1})
	f.Add(append([]byte{0x40, 0, 0x41, 0, 1}, binary.LittleEndian.AppendUint64(nil, math.Float64bits(math.NaN()))...))
	f.Add([]byte{0x40, 0, 0x82, 'a', 4, 0, 0x42, 0, 0x41, 0, 2})
	f.Add([]byte{0x40, 7, 0x40, 8, 0x40, 6, 0x40, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		b := tape(data)
		w := &world{setup: fuzzSetup()}
		w.r = goodReadings(&w.setup)
		core := bay.New(w.setup)
		v := newWitness(0, new([interlock.NumCodes]int))
		was, stage := false, bay.StageUnknown
		for len(b) > 0 {
			op := b.byte()
			w.r.Orders = nil
			if op&0x01 != 0 {
				b.change(&w.r)
			}
			if op&0x02 != 0 {
				w.r.Orders = []order.Order{b.order()}
			}
			dt, ticks := spans[int(b.byte())%len(spans)], 1
			if op&0x40 != 0 {
				ticks = 70 // long enough for checking and the minimum off time
			}
			for range ticks {
				w.jump(dt)
				p, events := core.Step(&w.r)
				w.obey(events)
				v.check(t, w, p, was)
				checkPicture(t, w, p, stage)
				was, stage = p.Permit.Granted, p.Stage
				w.r.Orders = nil
			}
			if _, err := json.Marshal(core.Memory()); err != nil {
				t.Fatalf("the memory is no JSON: %v", err)
			}
		}
	})
}

// jump moves the clock like tick, but to any time; the oracle's own time never
// goes back.
func (w *world) jump(dt time.Duration) {
	const most = 1 << 60 // the core's range
	at := w.now + dt
	if dt == math.MaxInt64 || dt == math.MinInt64 {
		at = dt
	}
	w.r.Now = at
	for _, r := range baytest.Places(&w.r) {
		r.At = at
	}
	w.r.Level.At = at
	w.now = max(w.now, min(at, most))
}

// FuzzMemory restores arbitrary JSON, once unchanged and once with a matching
// checksum. Whatever it holds, it can only block more than an agent without a
// memory, and its hold, visit and latches are restored.
func FuzzMemory(f *testing.F) {
	core := bay.New(fuzzSetup())
	r := goodReadings(&bay.Setup{Pack: bay.Pack{Cells: 12}})
	r.Orders = []order.Order{{ID: "1", Kind: order.Hold, By: "a person"}, {ID: "2", Kind: order.VisitOpen, By: "a person"}}
	core.Step(&r)
	text, err := json.Marshal(core.Memory())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text, int64(0), true)
	f.Add([]byte(`{"v":1,"pack":"lift-24v","cells":12,"latches":{"runaway":{},"plates-bare":{}},"visit":{"given_ml":[1e308],"ago_s":1e300},"water":{"offset_mm":[0,0,0,0,0,0,0,0,0,0,0,0]},"charge":{"full":true,"ended":true,"ended_ago_s":1e11}}`), int64(time.Minute), true)
	f.Add([]byte(`{"v":2,"sum":"00000000"}`), int64(math.MaxInt64), false)
	f.Add([]byte(`{"order_ids":["","a"]}`), int64(-1), true)
	f.Fuzz(func(t *testing.T, text []byte, gap int64, proven bool) {
		var m bay.Memory
		if json.Unmarshal(text, &m) != nil {
			t.Skip("the agent does not take what is no JSON")
		}
		for range 2 {
			remember(t, &m, time.Duration(gap), proven)
			m.Seal()
		}
	})
}

func remember(t *testing.T, m *bay.Memory, gap time.Duration, proven bool) {
	t.Helper()
	setup := fuzzSetup()
	with, without := bay.New(setup), bay.New(setup)
	_ = with.Restore(m, time.Hour, gap, proven) // the core itself reports an error
	r := goodReadings(&setup)
	w := &world{setup: setup, now: time.Hour, r: r}
	for range 200 {
		w.tick(time.Second, -1)
		p, _ := without.Step(&w.r)
		granted := p.Permit.Granted
		p, _ = with.Step(&w.r)
		if p.Permit.Granted && !granted {
			t.Fatalf("granted at %v by what is remembered", w.now)
		}
		checkPicture(t, w, p, p.Stage)
		if m.Held && !p.Findings[interlock.Held].Raised || m.Visit != nil && !p.Visit.Open {
			t.Fatalf("lost a hold or a visit at %v", w.now)
		}
		for c := range p.Findings {
			if _, there := m.Latches[interlock.Code(c).String()]; there && interlock.Table[c].Latches && !p.Findings[c].Latched {
				t.Fatalf("%v is lost", interlock.Code(c))
			}
		}
	}
	if _, err := json.Marshal(with.Memory()); err != nil {
		t.Fatalf("the memory is no JSON any more: %v", err)
	}
}

// FuzzPackMemory gives arbitrary JSON to a bay of several packs, as its memory
// and as the history of the pack that it recognises, once unchanged and once with
// a matching checksum. It can only block more than a pack without a history. A
// latch in it, or damage, blocks until a technician has looked.
func FuzzPackMemory(f *testing.F) {
	s := newSite(f, true)
	s.spots[0].plug("lift-a")
	s.ticks(90)
	memory := s.spots[0].core.Memory()
	part, err := json.Marshal(memory.PackPart("bay-1"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(part, int64(time.Minute), true)
	f.Add(s.spots[0].saved, int64(time.Minute), true)
	f.Add([]byte(`{"v":1,"pack":"lift-a","cells":12,"seat":9,"latches":{"runaway":{"value":1}},"water":{"offset_mm":[0,0,0,0,0,0,0,0,0,0,0,0]},"charge":{"full":true,"ended":true,"ended_ago_s":1e11}}`), int64(math.MaxInt64), true)
	f.Add([]byte(`{"v":1,"pack":"lift-a","cells":12,"seat":18446744073709551615,"by":"person","pack_latches":["held","runaway"],"latches":{"runaway":{}},"visit":{"given_ml":[1]},"totals":{"in_ah":-1}}`), int64(-1), true)
	f.Fuzz(func(t *testing.T, text []byte, gap int64, proven bool) {
		var m bay.PackMemory
		var of bay.Memory
		isPack, isBay := json.Unmarshal(text, &m) == nil, json.Unmarshal(text, &of) == nil
		for range 2 {
			site := newSite(t, true)
			p := site.spots[0]
			p.plug("lift-a")
			if isBay {
				_ = p.core.Restore(&of, 0, time.Duration(gap), proven)
				site.histories.Restored(p.core, &of, 0, proven)
			}
			if isPack && m.Pack == "lift-a" {
				site.histories.Add(&m, -time.Duration(gap), proven)
			}
			kept := site.histories.Of("lift-a")
			if seats(t, site, p) && kept != nil && p.pic.Permit.Granted && len(kept.Latches) > 0 {
				t.Fatal("granted with a latch in the history")
			}
			m.Seal()
			of.Seal()
		}
	})
}

// seats runs the bay for three minutes, whatever its history contains.
func seats(t *testing.T, s *site, p *spot) bool {
	t.Helper()
	for range 180 {
		s.now += time.Second
		r := p.readings(s.now)
		pic, _ := p.core.Step(r)
		p.pic = pic.Clone()
		s.check(p)
		s.histories.Collect([]*bay.Bay{p.core}, s.now)
		_, _ = s.histories.Open([]*bay.Bay{p.core}, s.now) // the core itself reports an error
	}
	if _, err := json.Marshal(p.core.Memory()); err != nil {
		t.Fatalf("the memory is no JSON any more: %v", err)
	}
	return p.core.Opened() != ""
}
