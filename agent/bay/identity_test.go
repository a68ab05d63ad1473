package bay_test

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/view"
	"bayward/agent/words"
)

// site is two or three bays and the packs carried between them, as seen by an
// observer who knows for certain what is plugged in where.
type site struct {
	t         failer
	now       time.Duration
	histories *bay.Histories
	spots     []*spot
	packs     []bay.Pack
	kept      map[string]*bay.PackMemory // as stored, by pack
	gasAh     map[string]float64         // what each pack gassed while it was known, counted here
	ids       int
}

// spot is one bay with what is plugged in there.
type spot struct {
	setup bay.Setup
	core  *bay.Bay
	pic   *bay.Picture
	saved []byte
	told  []bay.Event // of the last tick

	pack    string   // plugged in, "" for none
	sensors []string // whose ROM numbers answer
	amps    float64
	named   string // the name given since the pack was plugged in, if it was accepted
	gone    int    // ticks without a pack
	orders  []order.Order
	total   float64 // Totals.GassingAh of the last tick
}

func packsNamed(names ...string) []bay.Pack {
	out := baytest.Packs(names...)
	for i := range out {
		out[i].CapacityAh = 225 + 25*float64(i)
	}
	return out
}

func newSite(t failer, recognises ...bool) *site {
	s := &site{
		t: t, histories: bay.NewHistories(), packs: packsNamed("lift-a", "lift-b", "lift-c"),
		kept: map[string]*bay.PackMemory{}, gasAh: map[string]float64{},
	}
	for i, r := range recognises {
		setup := baytest.Setup(fmt.Sprint("bay-", i+1))
		setup.Pack, setup.Packs, setup.Recognises = bay.Pack{}, s.packs, r
		setup.Limits.RestMin = 10 * time.Minute
		s.spots = append(s.spots, &spot{setup: setup, core: bay.New(setup)})
	}
	return s
}

// plug connects a pack and its sensor.
func (p *spot) plug(pack string) {
	p.pack = pack
	if p.sensors = nil; pack != "" {
		p.sensors = []string{pack}
	}
}

func (p *spot) readings(now time.Duration) *bay.Readings {
	v := baytest.Values{PackV: 25.2, CurrentA: p.amps, PackC: 25, AmbientC: 22, LevelMM: 8}
	if p.amps > 0 {
		v.PackV = 28.8
	}
	if p.pack == "" {
		v.PackV, v.CurrentA = 0, 0
	}
	v.Closed = p.pic != nil && p.pic.Permit.Granted
	r := v.At(now)
	switch {
	case !p.setup.Recognises:
	case len(p.sensors) == 1:
		r.Pack = bay.PackSeen{Name: p.sensors[0], At: now, Fault: reading.None}
	case len(p.sensors) > 1:
		r.Pack = bay.PackSeen{At: now, Fault: reading.Contradictory}
	default:
		r.Pack = bay.PackSeen{At: now, Fault: reading.NoAnswer}
		r.PackC = reading.Bad(reading.NoAnswer, now)
	}
	return &r
}

// tick is one second of the whole site.
func (s *site) tick() {
	s.now += time.Second
	cores := make([]*bay.Bay, len(s.spots))
	for i, p := range s.spots {
		if p.gone++; p.pack != "" {
			p.gone = 0
		}
		if p.gone >= 5 {
			p.named = "" // until then it is a wiggled plug
		}
		r := p.readings(s.now)
		r.Orders, p.orders = p.orders, nil
		r.Taken = s.histories.OpenElsewhere(p.setup.Name)
		pic, events := p.core.Step(r)
		p.pic, p.told = pic.Clone(), slices.Clone(events)
		for _, e := range p.told {
			for _, o := range r.Orders {
				if e.Kind == bay.OrderTaken && e.Order == o.ID && o.Kind == order.Pack {
					p.named = o.Pack
				}
			}
		}
		gassed := p.pic.Totals.GassingAh - p.total
		if gassed < 0 {
			s.t.Fatalf("the total of %s fell by %v", p.setup.Name, -gassed)
		}
		p.total = p.pic.Totals.GassingAh
		s.gasAh[p.pic.Pack.Name] += gassed
		s.check(p)
		cores[i] = p.core
	}
	for _, m := range s.histories.Collect(cores, s.now) {
		if m.Newer(s.kept[m.Pack]) {
			s.kept[m.Pack] = m
		}
	}
	for _, p := range s.spots {
		text, err := json.Marshal(p.core.Memory())
		if err != nil {
			s.t.Fatalf("%v", err)
		}
		p.saved = text
	}
	if _, err := s.histories.Open(cores, s.now); err != nil {
		s.t.Fatalf("%v", err)
	}
}

func (s *site) ticks(n int) {
	for range n {
		s.tick()
	}
}

// check asserts the promise: a permit only for the pack that is really connected,
// and each history in at most one bay.
func (s *site) check(p *spot) {
	if p.pic.Permit.Granted {
		switch {
		case p.setup.Recognises && (len(p.sensors) > 1 || len(p.sensors) == 1 && p.sensors[0] != p.pic.Pack.Name):
			s.t.Fatalf("%s is granted as %q while the sensors of %v answer", p.setup.Name, p.pic.Pack.Name, p.sensors)
		case !p.setup.Recognises && (p.named == "" || p.named != p.pic.Pack.Name):
			s.t.Fatalf("%s is granted as %q; a person has said %q", p.setup.Name, p.pic.Pack.Name, p.named)
		case p.pic.Pack.Name == "":
			s.t.Fatalf("%s is granted for a pack that is not known", p.setup.Name)
		}
	}
	if p.pic.Named() != (p.pic.Naming != bay.NotNamed) {
		s.t.Fatalf("%s: pack %q, naming %v", p.setup.Name, p.pic.Pack.Name, p.pic.Naming)
	}
	for _, o := range s.spots {
		if o != p && o.core.Opened() != "" && o.core.Opened() == p.core.Opened() {
			s.t.Fatalf("%s and %s both have the history of %s", o.setup.Name, p.setup.Name, o.core.Opened())
		}
	}
}

func (s *site) name(p *spot, pack string) {
	s.ids++
	p.orders = append(p.orders, order.Order{ID: fmt.Sprint("n", s.ids), Kind: order.Pack, By: "A. Person", Pack: pack})
}

func (s *site) order(p *spot, o order.Order) {
	s.ids++
	o.ID, o.By = fmt.Sprint("n", s.ids), "A. Person"
	p.orders = append(p.orders, o)
}

// restart ends the agent and starts it again from what was stored.
func (s *site) restart(gap time.Duration, proven bool) {
	s.now += gap
	s.histories = bay.NewHistories()
	for _, p := range s.spots {
		p.core = bay.New(p.setup)
		if proven && gap <= 15*time.Minute {
			// A name that a technician has given still counts.
		} else {
			p.named = ""
		}
		if p.saved == nil {
			continue
		}
		var m bay.Memory
		if err := json.Unmarshal(p.saved, &m); err != nil {
			s.t.Fatalf("%v", err)
		}
		if err := p.core.Restore(&m, s.now, gap, proven); err != nil {
			s.t.Fatalf("%v", err)
		}
		s.histories.Restored(p.core, &m, s.now-gap, proven)
	}
	for _, m := range s.kept {
		text, _ := json.Marshal(m)
		var back bay.PackMemory
		if err := json.Unmarshal(text, &back); err != nil {
			s.t.Fatalf("%v", err)
		}
		s.histories.Add(&back, s.now-gap, proven)
	}
}

// history is what is known of a pack, wherever it is kept.
func (s *site) history(pack string) *bay.PackMemory {
	for _, p := range s.spots {
		if p.core.Opened() == pack {
			m := p.core.Memory()
			return m.PackPart(p.setup.Name)
		}
	}
	return s.histories.Of(pack)
}

func (p *spot) raised(c interlock.Code) bool { return p.pic.Findings[c].Raised }

func (p *spot) heard(kind bay.EventKind) string {
	for _, e := range p.told {
		if e.Kind == kind {
			return words.EnglishSI().Event(&e)
		}
	}
	return ""
}

// TestIdentityKeepsItsPromise drives packs through bays at random: they are
// carried, named rightly and wrongly, their sensors fail or answer side by side,
// and the agent restarts at any time. No permit is granted while the pack is
// unknown, and no history is open twice. The gassing of each pack, on which its
// water balance rests, is the sum of what it gassed in every bay.
func TestIdentityKeepsItsPromise(t *testing.T) {
	steps, granted, moves, restarts := 0, 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s := newSite(t, true, rapid.Bool().Draw(t, "second recognises"), false)
		seen := map[string]string{}
		for range rapid.IntRange(1, 25).Draw(t, "acts") {
			p := s.spots[rapid.IntRange(0, len(s.spots)-1).Draw(t, "bay")]
			pack := rapid.SampledFrom([]string{"lift-a", "lift-b", "lift-c"}).Draw(t, "pack")
			switch rapid.SampledFrom([]string{"carry", "carry", "away", "name", "name", "flake", "two", "exchange", "charge", "restart", "visit", "dark"}).Draw(t, "act") {
			case "carry":
				for _, o := range s.spots {
					if o.pack == pack {
						o.plug("")
					}
				}
				p.plug("")
				least := 1
				if !p.setup.Recognises {
					least = 6 // carrying a pack takes at least that long
				}
				s.ticks(max(least, rapid.SampledFrom([]int{1, 6, 30}).Draw(t, "unplugged for")))
				p.plug(pack)
				p.amps = 0
			case "away":
				p.plug("")
			case "name":
				s.name(p, rapid.SampledFrom([]string{"", pack, p.pack, "lift-x"}).Draw(t, "said"))
			case "flake":
				p.sensors = nil
			case "two":
				p.sensors = []string{"lift-a", "lift-b"}
			case "exchange": // the sensor of another pack, with no plug pulled
				p.sensors = []string{pack}
			case "charge":
				p.amps = rapid.SampledFrom([]float64{0, 8, 40}).Draw(t, "A")
			case "restart":
				restarts++
				s.restart(rapid.SampledFrom([]time.Duration{0, time.Minute, time.Hour}).Draw(t, "gap"), rapid.Bool().Draw(t, "proven"))
			case "visit":
				s.order(p, order.Order{Kind: rapid.SampledFrom([]order.Kind{order.VisitOpen, order.VisitClose}).Draw(t, "visit")})
			case "dark":
				if p.pack != "" {
					p.sensors = []string{p.pack}
				}
			}
			for range rapid.SampledFrom([]int{1, 3, 20, 120}).Draw(t, "ticks") {
				s.tick()
				steps++
				for _, o := range s.spots {
					if o.pic.Permit.Granted {
						granted++
					}
					if name := o.core.Opened(); name != "" && seen[name] != o.setup.Name {
						seen[name] = o.setup.Name
						moves++
					}
				}
			}
		}
		for _, pack := range s.packs {
			want := s.gasAh[pack.Name]
			if m := s.history(pack.Name); m != nil && math.Abs(m.Charge.TotalGasAh-want) > 1e-6*(1+want) {
				t.Fatalf("pack %s has gassed %v Ah by its history, %v Ah were seen", pack.Name, m.Charge.TotalGasAh, want)
			} else if m == nil && want > 1e-9 {
				t.Fatalf("the history of %s is lost", pack.Name)
			}
		}
		if s.gasAh[""] > 1e-9 {
			t.Fatalf("%v Ah were booked to no pack", s.gasAh[""])
		}
	})
	if granted < steps/50 || moves < steps/1000 || restarts < steps/2000 {
		t.Errorf("the histories hardly test anything: steps %d, granted %d, moves %d, restarts %d", steps, granted, moves, restarts)
	}
	t.Logf("figure: identity steps %d, granted %d, moves %d, restarts %d, violations 0", steps, granted, moves, restarts)
}

// gassed charges the pack in a bay until its history has counted some gassing.
func (s *site) gassed(p *spot) float64 {
	p.amps = 20
	s.ticks(1200)
	p.amps = 0
	s.tick()
	return p.pic.Charge.TotalGassingAh
}

// TestSwapInTheNight: two packs exchanged between two bays take their histories
// along, whether the agent is running or off, for any time.
func TestSwapInTheNight(t *testing.T) {
	for name, night := range map[string]func(*site){
		"agent running":            func(s *site) { s.ticks(60) },
		"short restart, unplugged": func(s *site) { s.ticks(10); s.restart(time.Minute, true); s.ticks(10) },
		"long restart, unplugged":  func(s *site) { s.ticks(10); s.restart(8*time.Hour, false); s.ticks(10) },
		"agent off all along":      func(s *site) { s.restart(10*time.Minute, true) },
		"agent off, time unknown":  func(s *site) { s.restart(0, false) },
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite(t, true, true)
			one, two := s.spots[0], s.spots[1]
			one.plug("lift-a")
			two.plug("lift-b")
			s.ticks(90)
			require.True(t, one.pic.Permit.Granted && two.pic.Permit.Granted)
			a := s.gassed(one)
			require.Positive(t, a)
			b := two.pic.Charge.TotalGassingAh
			require.Less(t, b, a/4, "only rested")
			one.plug("")
			two.plug("")
			night(s)
			one.plug("lift-b")
			two.plug("lift-a")
			s.tick()
			require.False(t, one.pic.Permit.Granted || two.pic.Permit.Granted)
			s.ticks(120)
			require.Equal(t, "lift-b", one.pic.Pack.Name)
			require.Equal(t, "lift-a", two.pic.Pack.Name)
			require.Equal(t, bay.BySensor, two.pic.Naming)
			const rested = 1e-3 // Ah, gassed at rest in the meantime
			require.InDelta(t, a, two.pic.Charge.TotalGassingAh, rested, "the balance of lift-a came along")
			require.InDelta(t, b, one.pic.Charge.TotalGassingAh, rested)
			require.InDelta(t, a, one.pic.Totals.GassingAh, rested, "what this bay gassed does not fall")
			require.False(t, two.pic.Charge.Full, "it may have been at work")
			require.True(t, one.pic.Permit.Granted && two.pic.Permit.Granted)
			require.EqualValues(t, 250, one.pic.Pack.CapacityAh)
		})
	}
}

// TestUnknownPackIsHeld: without the sensor of a known pack there is no permit.
// After half a minute the agent reports it once, as an unknown pack and not as a
// broken thermometer.
func TestUnknownPackIsHeld(t *testing.T) {
	s := newSite(t, true)
	p := s.spots[0]
	p.plug("lift-z")
	p.sensors = nil
	s.ticks(20)
	require.False(t, p.raised(interlock.PackUnknown), "its sensor is looked for")
	require.Equal(t, bay.Checking, p.pic.Stage)
	s.ticks(300)
	require.True(t, p.raised(interlock.PackUnknown))
	require.False(t, p.raised(interlock.TemperatureUnknown), "one cause is told once")
	require.False(t, p.pic.Permit.Granted)
	require.Equal(t, interlock.NoSensor, p.pic.Findings[interlock.PackUnknown].Evidence.Reason)
	require.Empty(t, view.Of(p.pic).Pack)
	require.Equal(t, []string{"lift-a", "lift-b", "lift-c"}, view.Of(p.pic).Packs)
	p.plug("")
	s.ticks(30)
	require.False(t, p.raised(interlock.PackUnknown), "an empty bay is no riddle")
}

// TestTwoSensorsContradict: while both answer, nothing is granted and neither
// pack's history is touched.
func TestTwoSensorsContradict(t *testing.T) {
	s := newSite(t, true)
	p := s.spots[0]
	p.plug("lift-a")
	s.ticks(90)
	require.True(t, p.pic.Permit.Granted)
	p.sensors = []string{"lift-a", "lift-b"}
	s.tick()
	require.False(t, p.pic.Permit.Granted, "at once")
	require.Equal(t, interlock.TwoSensors, p.pic.Findings[interlock.PackUnknown].Evidence.Reason)
	require.Equal(t, "lift-a", p.core.Opened())
	p.sensors = []string{"lift-a"}
	s.ticks(90)
	require.True(t, p.pic.Permit.Granted)
}

// TestAnotherSensorWhileCharging blocks at once until a technician has looked:
// nothing was unplugged, so one of the two is wrong.
func TestAnotherSensorWhileCharging(t *testing.T) {
	for name, solve := range map[string]func(*site, *spot){
		"named":   func(s *site, p *spot) { s.name(p, "lift-b") },
		"plugged": func(s *site, p *spot) { p.plug(""); s.ticks(10); p.plug("lift-b") },
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite(t, true)
			p := s.spots[0]
			p.plug("lift-a")
			s.ticks(90)
			p.amps = 20
			s.ticks(600)
			require.Equal(t, bay.Charging, p.pic.Stage)
			p.sensors = []string{"lift-b"}
			s.tick()
			require.False(t, p.pic.Permit.Granted)
			require.True(t, p.raised(interlock.PackUnknown))
			p.amps = 0
			s.ticks(600)
			require.False(t, p.pic.Permit.Granted)
			require.Empty(t, p.core.Opened())
			s.name(p, "lift-a")
			s.tick()
			require.Contains(t, p.heard(bay.OrderRefused), "the sensor of battery lift-b answers")
			for _, proven := range []bool{true, false} {
				s.restart(time.Second, proven)
				s.ticks(120)
				require.Empty(t, p.core.Opened(), "a restart solves nothing")
				require.False(t, p.pic.Permit.Granted)
				require.Equal(t, interlock.PackChanged, p.pic.Findings[interlock.PackUnknown].Evidence.Reason)
			}
			solve(s, p)
			s.ticks(120)
			require.Equal(t, "lift-b", p.pic.Pack.Name)
			require.True(t, p.pic.Permit.Granted)
		})
	}
}

// TestAPersonNamesThePack: no permit before that, and none after the plug is
// pulled.
func TestAPersonNamesThePack(t *testing.T) {
	s := newSite(t, false, false)
	p := s.spots[0]
	p.plug("lift-a")
	s.ticks(300)
	require.True(t, p.raised(interlock.PackUnknown))
	for _, o := range []order.Kind{order.VisitOpen, order.Gravity, order.Level} {
		s.order(p, order.Order{Kind: o, Cell: 1, Gravity: 1.2, AtC: 20, LevelMM: 5})
		s.tick()
		require.Contains(t, p.heard(bay.OrderRefused), "which battery this is", o)
	}
	s.name(p, "lift-x")
	s.tick()
	require.Contains(t, p.heard(bay.OrderRefused), `this bay has no battery "lift-x"`)
	s.name(p, "lift-a")
	s.tick()
	require.Equal(t, "Battery lift-a is plugged in.", p.heard(bay.OrderTaken))
	s.ticks(2)
	require.Equal(t, bay.ByPerson, p.pic.Naming)
	require.False(t, p.pic.Permit.Granted, "naming grants nothing by itself")
	s.ticks(90)
	require.True(t, p.pic.Permit.Granted)

	other := s.spots[1]
	other.plug("lift-b")
	s.name(other, "lift-a")
	s.ticks(5)
	s.name(other, "lift-a")
	s.tick()
	require.Contains(t, other.heard(bay.OrderRefused), "battery lift-a is in another bay")

	p.plug("")
	s.ticks(10)
	p.plug("lift-c")
	s.ticks(120)
	require.True(t, p.raised(interlock.PackUnknown), "the word was for the pack before")
	s.name(p, "lift-c")
	s.ticks(120)
	require.True(t, p.pic.Permit.Granted)
	s.name(p, "")
	s.tick()
	require.False(t, p.pic.Permit.Granted, "taken back")
}

// TestANameOverARestart: a name given by a technician survives only a gap that is
// proven to be short, as rest and full do.
func TestANameOverARestart(t *testing.T) {
	for _, tc := range []struct {
		gap    time.Duration
		proven bool
		stays  bool
	}{{time.Minute, true, true}, {14 * time.Minute, true, true}, {16 * time.Minute, true, false}, {time.Minute, false, false}} {
		s := newSite(t, false)
		p := s.spots[0]
		p.plug("lift-a")
		s.tick()
		s.name(p, "lift-a")
		s.ticks(90)
		a := s.gassed(p)
		s.restart(tc.gap, tc.proven)
		s.ticks(3)
		require.Equal(t, tc.stays, p.pic.Named(), "%+v", tc)
		require.InDelta(t, a, p.pic.Totals.GassingAh, 1e-3)
		s.ticks(90)
		require.Equal(t, tc.stays, p.pic.Permit.Granted, "%+v", tc)
		if !tc.stays {
			s.name(p, "lift-a")
			s.ticks(90)
			require.True(t, p.pic.Permit.Granted)
		}
		require.InDelta(t, a, p.pic.Charge.TotalGassingAh, 1e-3, "%+v", tc)
	}
}

// TestFullOverRestarts: full survives at the same bay across a gap that is proven
// to be short. It survives no other gap, not even when a second restart is short.
func TestFullOverRestarts(t *testing.T) {
	for name, tc := range map[string]struct {
		gaps []time.Duration // proven when short
		full bool
	}{"short": {[]time.Duration{time.Minute}, true}, "long": {[]time.Duration{8 * time.Hour}, false}, "long, then short": {[]time.Duration{8 * time.Hour, time.Minute}, false}} {
		t.Run(name, func(t *testing.T) {
			s := newSite(t, true)
			p := s.spots[0]
			p.plug("lift-a")
			s.ticks(90)
			m := p.core.Memory()
			m.Charge.Full, m.Charge.Ended, m.Charge.Evidence = true, true, 4
			m.Seal()
			text, err := json.Marshal(&m)
			require.NoError(t, err)
			p.saved = text
			for _, gap := range tc.gaps {
				s.restart(gap, gap <= time.Minute)
				p.sensors = nil // not recognised yet when the next restart comes
				s.ticks(3)
			}
			p.sensors = []string{"lift-a"}
			s.ticks(10)
			require.Equal(t, "lift-a", p.pic.Pack.Name)
			require.Equal(t, tc.full, p.pic.Charge.Full)
		})
	}
}

// TestTwoBaysSeeOnePack: a pack whose sensor answers in two bays at once is named
// and its history closed in the same tick. Each event is about that pack.
func TestTwoBaysSeeOnePack(t *testing.T) {
	s := newSite(t, true, true)
	one, two := s.spots[0], s.spots[1]
	one.plug("lift-a")
	two.plug("lift-a")
	s.tick()
	s.tick()
	require.Equal(t, []bay.EventKind{bay.PackNamed, bay.PackLeft}, []bay.EventKind{one.told[0].Kind, one.told[1].Kind})
	require.Contains(t, one.heard(bay.PackNamed), "lift-a")
	require.Contains(t, one.heard(bay.PackLeft), "lift-a")
	s.ticks(120)
	for _, p := range s.spots {
		require.Empty(t, p.core.Opened())
		require.False(t, p.pic.Permit.Granted)
		require.Equal(t, interlock.Elsewhere, p.pic.Findings[interlock.PackUnknown].Evidence.Reason)
	}
}

// TestAVisitKeepsItsPack: the water of a visit belongs to the pack for which it
// was opened, even when another is plugged in meanwhile or the agent restarts.
func TestAVisitKeepsItsPack(t *testing.T) {
	for _, restart := range []bool{false, true} {
		s := newSite(t, true, true)
		p, other := s.spots[0], s.spots[1]
		p.plug("lift-a")
		s.ticks(90)
		s.order(p, order.Order{Kind: order.VisitOpen})
		s.order(p, order.Order{Kind: order.Fill, Cell: 3, ML: 100, Sure: true})
		s.ticks(2)
		p.plug("")
		s.ticks(20)
		p.plug("lift-b")
		other.plug("lift-a")
		s.ticks(20)
		if restart {
			s.restart(time.Hour, false)
			s.ticks(60)
		}
		require.Equal(t, "lift-a", p.core.Opened())
		require.True(t, p.pic.Visit.Open)
		require.Empty(t, other.core.Opened(), "its visit is open elsewhere")
		require.Equal(t, interlock.Elsewhere, other.pic.Findings[interlock.PackUnknown].Evidence.Reason)
		s.order(p, order.Order{Kind: order.Fill, Cell: 3, ML: 20, Sure: true})
		s.order(p, order.Order{Kind: order.VisitClose})
		s.ticks(90)
		require.Equal(t, "lift-a", other.core.Opened())
		m := s.history("lift-a")
		require.Equal(t, 1, m.Water.Visits)
		require.InDelta(t, 120, m.Water.Cells[2].FilledML, 1e-9, "restart %v", restart)
		require.True(t, other.pic.Permit.Granted)
	}
}

// TestALatchGoesWithThePack and remains at the bay: either may be the cause.
func TestALatchGoesWithThePack(t *testing.T) {
	s := newSite(t, true, true)
	for _, p := range s.spots {
		p.setup.Limits.ChargeMax = time.Hour
		p.core = bay.New(p.setup)
	}
	one, two := s.spots[0], s.spots[1]
	one.plug("lift-a")
	s.ticks(90)
	one.amps = 20
	s.ticks(3700)
	require.True(t, one.raised(interlock.ChargeOverrun))
	one.amps = 0
	one.plug("")
	s.ticks(10)
	s.restart(time.Hour, false)
	one.plug("lift-b")
	two.plug("lift-a")
	s.ticks(120)
	require.True(t, one.raised(interlock.ChargeOverrun), "the charger may be the wrong one")
	require.True(t, two.raised(interlock.ChargeOverrun), "the pack may have a weak cell")
	s.order(two, order.Order{Kind: order.Release})
	s.ticks(120)
	require.True(t, two.pic.Permit.Granted)
	require.False(t, one.pic.Permit.Granted)
	one.plug("")
	s.ticks(10)
	require.Empty(t, s.histories.Of("lift-b").Latches, "it was not lift-b's")
	two.plug("")
	s.ticks(10)
	require.Empty(t, s.histories.Of("lift-a").Latches, "released")
}

// TestADamagedHistoryHoldsTheBay: it may have contained a latch.
func TestADamagedHistoryHoldsTheBay(t *testing.T) {
	s := newSite(t, true)
	s.histories.Add(&bay.PackMemory{MemoryHead: bay.MemoryHead{V: 1, Sum: "00000000", Pack: "lift-a", Cells: 12}}, 0, true)
	core := s.spots[0].core
	s.spots[0].plug("lift-a")
	for range 5 {
		s.now += time.Second
		core.Step(s.spots[0].readings(s.now))
		_, err := s.histories.Open([]*bay.Bay{core}, s.now)
		if core.Opened() != "" {
			require.ErrorIs(t, err, bay.ErrMemory)
			break
		}
	}
	s.tick()
	require.Contains(t, s.spots[0].heard(bay.MemoryDoubted), "History of battery lift-a: The memory is damaged.")
	require.True(t, s.spots[0].raised(interlock.Held))
}
