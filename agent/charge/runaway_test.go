package charge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// quarter is ten minutes of a charge.
type quarter struct{ v, a, c float64 }

// warms passes some of them, two readings each, of a charge that may begin with them.
func (h *hands) warms(all ...quarter) *hands {
	if !h.tr.Status().Active {
		h.take(all[0].v, all[0].a)
		h.c = all[0].c
		h.tick(0)
		h.tick(time.Minute)
	}
	for _, q := range all {
		h.take(q.v, q.a)
		h.c = q.c
		h.tick(0)
		h.tick(10 * time.Minute)
	}
	return h
}

// TestRunaway: the current rises in each of three tens of minutes by 3 % or more, by 15 %
// and C/50 together, while the pack warms by 1.5 K and the voltage stays. That the current
// of a held voltage rises as the pack warms, and warms it, is Linden, Handbook of Batteries
// (from memory); the figures are the project's own.
func TestRunaway(t *testing.T) {
	for name, c := range map[string]struct {
		all  []quarter
		want bool
	}{
		"the least":                 {[]quarter{{2.25, 200, 25}, {2.25, 206, 25}, {2.25, 220, 25}, {2.25, 230, 26.5}}, true},
		"a larger one":              {[]quarter{{2.25, 200, 25}, {2.25, 250, 27}, {2.25, 300, 29}, {2.25, 360, 32}}, true},
		"by less than 15 %":         {[]quarter{{2.25, 200, 25}, {2.25, 206, 25}, {2.25, 220, 25}, {2.25, 229, 26.5}}, false},
		"by C/50":                   {[]quarter{{2.25, 100, 25}, {2.25, 106, 25}, {2.25, 113, 25}, {2.25, 120, 26.5}}, true},
		"by less than C/50":         {[]quarter{{2.25, 100, 25}, {2.25, 106, 25}, {2.25, 113, 25}, {2.25, 119, 26.5}}, false},
		"not warm":                  {[]quarter{{2.25, 200, 25}, {2.25, 206, 25}, {2.25, 220, 25}, {2.25, 230, 26.4}}, false},
		"it stopped rising first":   {[]quarter{{2.25, 200, 25}, {2.25, 205, 25}, {2.25, 220, 25}, {2.25, 240, 27}}, false},
		"it stopped rising then":    {[]quarter{{2.25, 200, 25}, {2.25, 220, 25}, {2.25, 225, 25}, {2.25, 240, 27}}, false},
		"it stopped rising at last": {[]quarter{{2.25, 200, 25}, {2.25, 220, 25}, {2.25, 240, 25}, {2.25, 246, 27}}, false},
		"a charger that turns up":   {[]quarter{{2.25, 200, 25}, {2.25, 220, 25}, {2.261, 240, 25}, {2.25, 260, 27}}, false},
		"a voltage that gives way":  {[]quarter{{2.25, 200, 25}, {2.25, 220, 25}, {2.25, 240, 25}, {2.239, 260, 27}}, false},
		"9 mV up, 9 mV down":        {[]quarter{{2.25, 200, 25}, {2.259, 220, 25}, {2.241, 240, 25}, {2.25, 260, 27}}, true},
		"three windows":             {[]quarter{{2.25, 200, 25}, {2.25, 230, 27}, {2.25, 260, 29}}, false},
		"of long ago":               {[]quarter{{2.25, 200, 25}, {2.25, 230, 27}, {2.25, 260, 29}, {2.25, 300, 31}, {2.25, 300, 31}}, false},
		"only the last four count":  {[]quarter{{2.25, 500, 45}, {2.25, 200, 25}, {2.25, 230, 27}, {2.25, 260, 29}, {2.25, 300, 31}}, true},
	} {
		h := newHands().warms(c.all...)
		a, k, found := h.tr.Runaway()
		require.Equal(t, c.want, found, name)
		if name == "a larger one" {
			require.Equal(t, 160.0, a)
			require.Equal(t, 7.0, k)
		}
	}
}

// TestRunawayGoesOn over a pause, a lost reading and a restart, and ends with the charge.
func TestRunawayGoesOn(t *testing.T) {
	first := []quarter{{2.25, 200, 25}, {2.25, 230, 27}}
	last := []quarter{{2.25, 260, 29}, {2.25, 300, 31}}
	for name, between := range map[string]func(*hands) *hands{
		"nothing": func(h *hands) *hands { return h },
		"a pause": func(h *hands) *hands {
			h.a = 0
			h.pass(20*time.Minute, time.Minute)
			return h
		},
		"no voltage": func(h *hands) *hands {
			h.v = math.NaN()
			h.pass(10*time.Minute, time.Minute)
			return h
		},
		"no temperature": func(h *hands) *hands {
			h.c = math.NaN()
			h.pass(10*time.Minute, time.Minute)
			return h
		},
		"no current": func(h *hands) *hands {
			h.a = math.NaN()
			h.pass(10*time.Minute, time.Minute)
			return h
		},
		"a restart": func(h *hands) *hands {
			m := h.tr.Memory()
			require.True(t, m.Valid())
			require.Len(t, m.Run.Means, 2)
			again := untouched()
			again.tr.Restore(&m, 0, 0, false)
			return again
		},
		"a restart within ten minutes": func(h *hands) *hands {
			h.take(2.25, 245)
			h.c = 28
			h.tick(0)
			h.tick(5 * time.Minute)
			m := h.tr.Memory()
			require.Equal(t, 300.0, m.Run.AgoS)
			require.Equal(t, 2, m.Run.N)
			again := untouched()
			again.tr.Restore(&m, 0, 5*time.Minute, true)
			again.take(2.25, 245)
			again.c = 28
			again.tick(5 * time.Minute)
			return again
		},
	} {
		h := between(newHands().warms(first...)).warms(last...)
		_, _, found := h.tr.Runaway()
		require.True(t, found, name)
	}
	h := newHands().warms(first...)
	h.a = 0
	h.pass(31*time.Minute, time.Minute)
	require.Nil(t, h.tr.Memory().Run, "nothing is left of a charge that has ended")
	_, _, found := h.warms(last...).tr.Runaway()
	require.False(t, found)

	h = newHands().warms(first...).warms(last...)
	h.a = 0
	h.pass(20*time.Minute, time.Minute)
	_, _, found = h.tr.Runaway()
	require.True(t, found, "a pause proves nothing")
	h.pass(11*time.Minute, time.Minute)
	_, _, found = h.tr.Runaway()
	require.False(t, found)

	h = newHands().warms(first...).warms(last...)
	h.provenFull()
	_, _, found = h.tr.Runaway()
	require.False(t, found, "begins again with full")
	require.Nil(t, newHands().tr.Memory().Run)

	h = newHands().warms(quarter{2.06, 0, 25}, quarter{2.06, 0, 27})
	require.Nil(t, h.tr.Memory().Run, "nothing flows")
}

// TestAWindowOfARunaway is ten minutes.
func TestAWindowOfARunaway(t *testing.T) {
	h := newHands().take(2.25, 200)
	h.tick(0)
	h.tick(time.Minute)
	h.pass(10*time.Minute-time.Second, time.Second)
	m := h.tr.Memory()
	require.Empty(t, m.Run.Means)
	require.Equal(t, 600, m.Run.N)
	h.tick(time.Second)
	m = h.tr.Memory()
	require.Equal(t, &charge.RunMemory{Means: [][3]float64{{2.25, 200, 25}}}, roundRun(m.Run))
}

func roundRun(m *charge.RunMemory) *charge.RunMemory {
	for i := range m.Means {
		for k := range m.Means[i] {
			m.Means[i][k] = math.Round(m.Means[i][k]*1e6) / 1e6
		}
	}
	return m
}
