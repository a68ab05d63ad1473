package bay_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/charge/chargetest"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// monthTick is the step of the recorded month.
const monthTick = time.Minute

// markTicks is the step of the proof by steady readings, which begins again with the
// first reading: a restart can move its grid.
const markTicks = 10

// monthRow is what the wires and people of one tick say, whatever the core decides.
type monthRow struct {
	v, a, c, airC, levelMM float64
	gone                   bool // the pack is at work
	change                 func(*bay.Readings)
	orders                 []order.Order
}

// month is a recorded month: nights of charge, days of work, weekends, and everything
// that goes wrong. The visits are those that the core without a restart has called for.
type month struct {
	rows  []monthRow
	asked int
}

func monthSetup() bay.Setup {
	s := baytest.Every(baytest.Setup("bay-1"))
	s.Fitted = s.Fitted.Without(reading.ChargerComplete)
	return s
}

// readings are those of one tick. A blocked charge gets no current, and its cells fall by
// 10 mV or more at once.
func (m *month) readings(i int, granted bool, r *bay.Readings) {
	row, now := &m.rows[i], time.Duration(i+1)*monthTick
	v := baytest.Values{PackV: row.v, CurrentA: row.a, PackC: row.c, AmbientC: row.airC, LevelMM: row.levelMM, Closed: granted}
	if row.a > 0 && !granted {
		v.CurrentA, v.PackV = 0, min(row.v-0.15, 25.6)
	}
	if row.gone {
		v.PackV, v.CurrentA = 0, 0
	}
	*r = bay.Readings{}
	v.Put(r, now)
	baytest.Fill(r, now)
	if i == 0 {
		r.Airflow.Value = 0 // the fan has to be seen off once
	}
	if row.gone {
		r.PackC, r.Level = reading.Reading{At: now, Fault: reading.Open}, reading.Level{At: now, Fault: reading.Open}
	}
	if row.change != nil {
		row.change(r)
	}
	r.Orders = row.orders
}

// recordMonth makes the readings by the published equations of a cell.
func recordMonth() *month {
	m := &month{}
	pack := &chargetest.CellString{CapacityAh: 225, Cells: 12, StepS: 20, C: 30, Soc: 0.6}
	rec := &chargetest.Recorder{Pack: pack, EachS: monthTick.Seconds()}
	packC, levelMM := 22.0, 13.0
	add := func(gone bool, f func()) {
		rec.Rows = rec.Rows[:0]
		gas := pack.GassingAh
		f()
		lostMM := (pack.GassingAh - gas) * 0.336 / 13 / float64(len(rec.Rows))
		for _, r := range rec.Rows {
			airC := 20 + 4*math.Cos(2*math.Pi*(rec.Hours()-15)/24)
			heat := 0.0
			if r.A > 0 {
				heat = 2.5 // K/h
			}
			packC += (heat - (packC-airC)/5) / 60
			levelMM -= lostMM
			// 1350 ml on 130 cm² grow by 5.66e-4 per °C (Myhre et al. 1998).
			m.rows = append(m.rows, monthRow{v: r.PackV, a: r.A, c: packC, airC: airC, levelMM: levelMM + 0.0588*(packC-25), gone: gone})
		}
	}
	for day := range 30 {
		ch := chargetest.IUIa(0.16, 2.40, 0.04, 3)
		if day == 10 || day == 11 { // a charger that never ends
			ch = chargetest.ConstantCurrent(0.05)
		}
		add(false, func() { rec.Charge(14, ch) })
		if work := day%7 < 5 && day != 10; work {
			add(true, func() { rec.Load(10, -0.06) })
			continue
		}
		if day == 10 {
			add(false, func() { rec.Charge(10, ch) })
		} else {
			add(false, func() { rec.Rest(10) })
		}
	}
	m.goWrong()
	return m
}

// during changes the readings of a time of a day, in hours from its charge's begin.
func (m *month) during(day int, from, to float64, change func(r *bay.Readings, share float64)) {
	at := func(h float64) int { return int((24*float64(day) + h) * 60) }
	for i := at(from); i < at(to); i++ {
		share, was := float64(i-at(from))/float64(at(to)-at(from)), m.rows[i].change
		m.rows[i].change = func(r *bay.Readings) {
			if was != nil {
				was(r)
			}
			change(r, share)
		}
	}
}

func (m *month) ask(day int, hour float64, kind order.Kind) {
	row := &m.rows[int((24*float64(day)+hour)*60)]
	m.asked++
	row.orders = append(row.orders, order.Order{ID: fmt.Sprint("order-", m.asked), By: "A. Person", Kind: kind})
}

// goWrong adds what goes wrong in the month.
func (m *month) goWrong() {
	m.during(1, 2, 4, func(r *bay.Readings, _ float64) { r.Level = reading.Level{At: r.Now, Fault: reading.Open} })
	// Hot, then for hours between the two limits.
	m.during(2, 1, 9, func(r *bay.Readings, s float64) { r.PackC.Value = 55 - 15*s })
	m.ask(3, 1, order.Hold)
	m.ask(3, 3, order.Unhold)
	m.during(4, 3, 6, func(r *bay.Readings, s float64) { r.HydrogenPct.Value = 2.5 - s })
	m.during(7, 2, 2.2, func(r *bay.Readings, _ float64) { r.PackV = reading.Reading{At: r.Now, Fault: reading.Missing} })
	m.during(8, 12, 12.4, func(r *bay.Readings, _ float64) { r.PackV = reading.Reading{At: r.Now, Fault: reading.Missing} })
	m.ask(12, 2, order.Release) // of the overrun
	// The current rises with the temperature.
	m.during(15, 2, 3.5, func(r *bay.Readings, s float64) {
		if r.CurrentA.Value > 0 {
			r.PackV.Value, r.CurrentA.Value, r.PackC.Value = 28.8, 10+30*s, 30+8*s
		}
	})
	m.ask(16, 0.5, order.Release)
	// The contactor sticks while a person holds the charge.
	m.ask(16, 1, order.Hold)
	m.during(16, 1.2, 1.5, func(r *bay.Readings, _ float64) { r.ContactorClosed.Value = 1 })
	m.ask(16, 3, order.Unhold)
	m.ask(17, 1, order.Release)
	// A cell leaks, at rest.
	for i := (24*20 + 14) * 60; i < len(m.rows); i++ {
		m.rows[i].levelMM -= 5
	}
	// A pack that rests too low for full.
	m.during(20, 12, 13.5, func(r *bay.Readings, _ float64) { r.PackV.Value = 24.6 })
	// A current sensor that breaks in the bulk of a charge.
	m.during(22, 1.5, 14, func(r *bay.Readings, _ float64) {
		if r.CurrentA.Value > 0 {
			r.CurrentA.Value = 0.3
		}
	})
	m.during(24, 5, 8, func(r *bay.Readings, _ float64) { r.Airflow.Value = 0 })
	m.during(26, 4, 6, func(r *bay.Readings, s float64) { r.PackC.Value = 44 - 2.5*s }) // warm
	m.during(27, 2, 5, func(r *bay.Readings, s float64) { r.Level = reading.LevelBetween(3*s-1, 3*s-1, r.Now) })
	m.during(27, 6, 6.5, func(r *bay.Readings, _ float64) { r.CurrentA = reading.Reading{At: r.Now, Fault: reading.Missing} })
	m.during(28, 2, 2.5, func(r *bay.Readings, _ float64) { r.PackC = reading.Reading{At: r.Now, Fault: reading.Missing} })
	m.during(28, 3, 3.5, func(r *bay.Readings, _ float64) { r.ContactorClosed.Value = 0 })
	m.during(28, 4, 5, func(r *bay.Readings, _ float64) { r.RecordFailing = true })
}

// water is a person who, at six in the morning, waters the pack when that was called for,
// and reads the cells that the picture asks for, with their water.
func (m *month) water(i int, p *bay.Picture) {
	calls := p.Stage == bay.ReadyToWater
	if i%(24*60) != 13*60 || !calls && !p.Findings[interlock.LevelDoubted].Raised {
		return
	}
	o := func(at int, o order.Order) {
		m.asked++
		o.ID, o.By = fmt.Sprint("order-", m.asked), "A. Person"
		m.rows[at].orders = append(m.rows[at].orders, o)
	}
	read := func(at int, pouredMM float64) {
		for _, cell := range p.Water.ReadAsk.Numbers() {
			o(at, order.Order{Kind: order.Level, Cell: cell, LevelMM: m.rows[i].levelMM + pouredMM, Sure: true})
		}
	}
	if !calls {
		read(i+2, 0)
		return
	}
	o(i+1, order.Order{Kind: order.VisitOpen})
	for cell := 1; cell <= p.Water.Cells; cell++ {
		o(i+3+cell, order.Order{Kind: order.Fill, Cell: cell, ML: math.Floor(p.Water.NeedML[cell-1]), Sure: true})
	}
	read(i+20, math.Floor(p.Water.NeedML[0])/13)
	o(i+30, order.Order{Kind: order.VisitClose})
	for k := i + 4; k < len(m.rows); k++ {
		m.rows[k].levelMM += math.Floor(p.Water.NeedML[0]) / 13
	}
}

// shown is what a tick shows, as far as the promise is about it.
type monthShown struct {
	granted, full, ready bool
	unready              bool // agent-unready: the only finding that a restart may add or end
	raised               interlock.Codes
	charges              uint64
	cycles               int
	gasAh                float64
}

func monthShow(p *bay.Picture) monthShown {
	s := monthShown{
		granted: p.Permit.Granted, full: p.Charge.Full, ready: p.Stage == bay.ReadyToWater,
		unready: p.Findings[interlock.AgentUnready].Raised,
		charges: p.Charge.Charges, cycles: p.Charge.Equalize.Cycles, gasAh: p.Charge.TotalGassingAh,
	}
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if p.Findings[c].Raised && c != interlock.AgentUnready {
			s.raised |= 1 << c
		}
	}
	return s
}

// monthRun is the month without a restart: what each tick showed, and the memories
// that were stored, as the loop stores them.
type monthRun struct {
	*month
	shown  []monthShown
	events []bool   // ticks with events
	stored [][]byte // by tick; nil: none
}

func runMonth(t testing.TB, m *month) *monthRun {
	t.Helper()
	run := &monthRun{month: m}
	core, granted, savedAt := bay.New(monthSetup()), false, 0
	var r bay.Readings
	for i := range m.rows {
		m.readings(i, granted, &r)
		p, events := core.Step(&r)
		granted = p.Permit.Granted
		m.water(i, p)
		run.shown = append(run.shown, monthShow(p))
		run.events = append(run.events, len(events) > 0)
		var text []byte
		if len(events) > 0 || i == 0 || time.Duration(i-savedAt)*monthTick >= bay.SavedWithin {
			memory := core.Memory()
			var err error
			text, err = json.Marshal(&memory)
			require.NoError(t, err)
			savedAt = i
		}
		run.stored = append(run.stored, text)
	}
	return run
}

// within reports whether something was so in one of the ticks from..to.
func (m *monthRun) within(from, to int, what func(*monthShown) bool) bool {
	for i := max(from, 0); i <= to; i++ {
		if what(&m.shown[i]) {
			return true
		}
	}
	return false
}

// raisedAll returns the findings that were raised in all ticks from..to.
func (m *monthRun) raisedAll(from, to int) interlock.Codes {
	all := ^interlock.Codes(0)
	for i := max(from, 0); i <= to; i++ {
		all &= m.shown[i].raised
	}
	return all
}

// slower are findings that a restart may delay by more ticks than the charge stood
// still: a window of the runaway rule that it cut in two, and the hour after a charge in
// which no level is compared, where nothing proves when the charge ended, with what that
// hour wears off the count.
func slower(proven bool) map[interlock.Code]int {
	if proven {
		return map[interlock.Code]int{interlock.Runaway: markTicks}
	}
	return map[interlock.Code]int{interlock.Runaway: markTicks, interlock.WaterBalance: 80}
}

// restart cuts the power after tick k and compares the rest of a day and a half with
// the month without. What the restart may cost is time: for as long as the charge
// stood still that ran without it, and what was not saved, everything may come later.
func (m *monthRun) restart(t *testing.T, k int, proven bool) string {
	t.Helper()
	const horizon = 36 * 60
	saved := k
	for m.stored[saved] == nil {
		saved--
	}
	var memory bay.Memory
	require.NoError(t, json.Unmarshal(m.stored[saved], &memory))
	now, gap := time.Duration(k+1)*monthTick, time.Duration(k-saved)*monthTick
	core := bay.New(monthSetup())
	require.NoError(t, core.Restore(&memory, now, gap, proven))
	var r bay.Readings
	granted, late, lateFull := false, 3+k-saved, 0
	for i := k + 1; i < min(k+horizon, len(m.rows)); i++ {
		m.readings(i, granted, &r)
		p, _ := core.Step(&r)
		granted = p.Permit.Granted
		is := monthShow(p)
		if m.shown[i].granted && !is.granted {
			late++
		}
		if m.shown[i].full && !is.full {
			lateFull++
		}
		from := i - late
		missing, since := m.raisedAll(from, i)&^is.raised, from
		for c, more := range slower(proven) {
			missing &= m.raisedAll(from-more, i) | ^(interlock.Codes(1) << c)
			if m.shown[i].raised == interlock.Codes(1)<<c {
				since -= more
			}
		}
		if overrun := interlock.Codes(1) << interlock.ChargeOverrun; m.shown[i].raised == overrun {
			since -= lateFull // after full, which was proven later
			missing &= m.raisedAll(since, i) | ^overrun
		}
		switch {
		case missing != 0:
			return fmt.Sprintf("tick %d (%d later): %v is forgotten", i, i-k, slices.Collect(missing.All()))
		case is.granted && !m.within(since, i, func(s *monthShown) bool { return s.granted || s.raised == 0 }):
			return fmt.Sprintf("tick %d (%d later): granted", i, i-k)
		case is.full && !m.within(from, min(i+markTicks, len(m.rows)-1), func(s *monthShown) bool { return s.full }):
			return fmt.Sprintf("tick %d (%d later): full by %v", i, i-k, p.Charge.Evidence)
		case is.ready && !m.within(from, i, func(s *monthShown) bool { return s.ready }):
			return fmt.Sprintf("tick %d (%d later): called to water", i, i-k)
		case is.charges+1 < m.shown[i].charges:
			return fmt.Sprintf("tick %d (%d later): %d charges, without %d", i, i-k, is.charges, m.shown[i].charges)
		}
	}
	return ""
}

// TestARestartAtAnyTickOfAMonth: no restart grants sooner, forgets a latch or a raised
// finding, shortens a count, or calls sooner than the month without it, whatever of the
// time can be proven. BAYWARD_RESTARTS=all restarts after each tick (half an hour).
func TestARestartAtAnyTickOfAMonth(t *testing.T) {
	m := runMonth(t, recordMonth())
	var seen interlock.Codes
	full, ready := 0, 0
	for i := range m.shown {
		seen |= m.shown[i].raised
		if i > 0 && m.shown[i].full && !m.shown[i-1].full {
			full++
		}
		if i > 0 && m.shown[i].ready && !m.shown[i-1].ready {
			ready++
		}
	}
	for _, c := range []interlock.Code{
		interlock.PlatesBare, interlock.LevelUnknown, interlock.TemperatureUnknown, interlock.VoltageUnknown, interlock.CurrentUnknown,
		interlock.PackHot, interlock.AirflowUnproven, interlock.HydrogenHigh, interlock.ChargeOverrun, interlock.Runaway, interlock.ContactorStuck,
		interlock.ContactorOpen, interlock.Held, interlock.VisitOpen, interlock.PackWarm, interlock.WaterBalance, interlock.RecordFailing,
	} {
		require.NotZero(t, seen>>c&1, "%v is never raised: the month is broken", c)
	}
	require.Greater(t, full, 15)
	require.Greater(t, ready, 5)
	t.Logf("%d ticks, %d times full, %d calls, findings %v", len(m.rows), full, ready, slices.Collect(seen.All()))
	every := 211
	if os.Getenv("BAYWARD_RESTARTS") == "all" {
		every = 1
	}
	restarts, wrong := 0, 0
	for k := 1; k < len(m.rows)-1; k++ {
		if k%every != 0 && (!m.events[k] || k%4 != 0) {
			continue
		}
		for _, proven := range []bool{true, false} {
			restarts++
			if what := m.restart(t, k, proven); what != "" {
				t.Errorf("restart after tick %d (day %d, %.2f h), proven %v: %s", k, k/1440, float64(k%1440)/60, proven, what)
				if wrong++; wrong > 20 {
					t.FailNow()
				}
			}
		}
	}
	t.Logf("figure: restarts in a recorded month %d, sooner or forgotten %d", restarts, wrong)
}
